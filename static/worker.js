/* Umberday without a network. The server puts FILES (what to keep) and VERSION before this.
   Pages come from the network when there is one, else as they were seen last, and say so. A touch test or a painted
   layer that cannot be sent is kept with the moment it was made and sent later with the same command key, so that the
   server takes it once however often it arrives. Where people sign in, pages and what waits belong to one person in one
   studio, named by a mark that the server sends along: nobody else sees them, and signing out takes the pages away. */
"use strict";
const SHELL = "files-" + VERSION, PAGES = "pages-1", WHO = "/who", NOBODY = "nobody";
const QUEUED = /^\/layers\/[^/]+\/(tests|paint)$/;
const KEPT = /^\/(|calendar|panels|wall|panels\/(?!new$)[\w-]+|layers\/[\w-]+\/(paint|tests))$/;
const AHEAD = /"(\/panels\/(?!new")[\w-]+|\/layers\/[\w-]+\/(?:paint|tests))[#"]/g;
const MOST_AHEAD = 60, AHEAD_AGAIN_MS = 600000, TWICE_MS = 60000, DAY_MS = 86400000, PAGE_DAYS = 30;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== SHELL && name !== PAGES) await caches.delete(name);
    await self.clients.claim();
  })());
});
self.addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && QUEUED.test(url.pathname)) event.respondWith(sendOrKeep(event, url));
  else if (request.method === "POST" && url.pathname === "/sign-out") event.respondWith(signOut(request));
  else if (request.method !== "GET") return;
  else if (request.mode === "navigate") event.respondWith(pageOf(event, url));
  else if (FILES.includes(url.pathname)) event.respondWith(fileOf(request));
});

// ---- whose they are: "" where nobody signs in ----
async function whoNow() {
  const kept = await caches.match(WHO, { cacheName: PAGES });
  return kept ? kept.text() : "";
}
async function noteWho(answer) {
  if (answer.type === "opaqueredirect") return;
  const who = markOf(answer);
  if (who !== await whoNow()) await beginAs(who);
}
function markOf(answer) { return answer.headers.get("Umberday-Who") || ""; }
async function beginAs(who) {
  await caches.delete(PAGES);
  await (await caches.open(PAGES)).put(WHO, new Response(who));
}
/* Whatever was asked for before somebody signed out belongs to them, also where it comes in later: it is not kept. */
let signOuts = 0;
async function forget() {
  signOuts += 1;
  await beginAs(NOBODY);
}
async function signOut(request) {
  await sendAll().catch(() => {});
  try {
    return await fetch(request);
  } finally {
    await forget();
  }
}

// ---- pages and files ----
async function fileOf(request) {
  return (await caches.match(request, { cacheName: SHELL })) || fetch(request);
}
async function pageOf(event, url) {
  const before = signOuts;
  try {
    const answer = await fetch(event.request);
    if (before !== signOuts) return answer;
    await noteWho(answer);
    if (answer.ok && !url.search && KEPT.test(url.pathname)) {
      const copy = answer.clone();
      event.waitUntil(keepPage(url.pathname, copy).catch(() => {}));
    }
    return answer;
  } catch (error) {
    const kept = await caches.match(url.pathname, { cacheName: PAGES });
    if (kept) return asItStood(kept);
    const list = await caches.match("/waiting", { cacheName: SHELL });
    return list ? asItStood(list, true) : Response.error();
  }
}
async function keepPage(path, answer) {
  const text = await answer.clone().text();
  if (!await keepOne(path, answer)) return;
  if (path === "/") await lookAhead(text, markOf(answer));
}
/* Put a page with the others, unless they are somebody else's by now. */
async function keepOne(path, answer) {
  const cache = await caches.open(PAGES);
  if (markOf(answer) !== await whoNow()) return false;
  await cache.put(path, answer);
  return true;
}
/* The panels of Today and their forms, so that they open without a network. Not more often than every ten minutes. */
async function lookAhead(text, who) {
  const cache = await caches.open(PAGES);
  const paths = [...new Set(Array.from(text.matchAll(AHEAD), (found) => found[1]))].slice(0, MOST_AHEAD);
  for (const path of paths) {
    const kept = await cache.match(path);
    if (kept && Date.now() - Date.parse(kept.headers.get("date")) < AHEAD_AGAIN_MS) continue;
    const answer = await fetch(path, { redirect: "error" });
    if (markOf(answer) !== who) return;
    if (answer.ok && !await keepOne(path, answer)) return;
  }
  for (const kept of await cache.keys()) {
    const answer = await cache.match(kept);
    if (answer && Date.now() - Date.parse(answer.headers.get("date")) > PAGE_DAYS * DAY_MS) await cache.delete(kept);
  }
}
// The words of a kept page's language, as it brought them (umberday.js); without any, English.
function wordsOf(text) {
  const found = /<meta name="umberday-words" content="([^"]*)">/.exec(text);
  const plain = found ? found[1].replace(/&#34;/g, '"').replace(/&#39;/g, "'").replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&amp;/g, "&") : "{}";
  const words = JSON.parse(plain);
  return (said, value) => (words[said] || said).replace("{value}", value);
}
async function asItStood(kept, isMissing) {
  const page = await kept.text(), say = wordsOf(page), at = new Date(kept.headers.get("date"));
  const language = (/<html lang="([a-z]+)"/.exec(page) || ["", "en"])[1];
  const when = isNaN(at) ? "" : at.toLocaleString(language === "en" ? "en-GB" : language,
    { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
  const words = isMissing ? say("No network, and this page was not seen before on this device.")
    : when ? say("No network. This page is as it stood on {value}.", when) : say("No network. This page is as it was seen last.");
  const text = page.replace("<main", '<p class="offline" role="status">' + words + "</p><main");
  return new Response(text, { status: 200, headers: kept.headers });
}

// ---- what waits: {id, path, body, type, at, what, refused} ----
function store(mode, act) {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("umberday", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("waiting", { keyPath: "id", autoIncrement: true });
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
      const change = opening.result.transaction("waiting", mode);
      const asked = act(change.objectStore("waiting"));
      change.oncomplete = () => { opening.result.close(); resolve(asked.result); };
      change.onabort = change.onerror = () => { opening.result.close(); reject(change.error); };
    };
  });
}
async function all() {
  const who = await whoNow();
  return (await store("readonly", (rows) => rows.getAll())).filter((entry) => (entry.who || "") === who);
}

async function sendOrKeep(event, url) {
  const request = event.request, at = new Date().toISOString();
  const body = await request.clone().text();
  const type = request.headers.get("content-type") || "application/x-www-form-urlencoded";
  try {
    return await fetch(request);
  } catch (error) {
    const who = await whoNow();
    if (who === NOBODY) throw error; // a page from before the signing out: what waits is somebody's
    await keepWaiting({ path: url.pathname, body, type, at, what: await titleOf(url.pathname), who, refused: "" });
    event.waitUntil(tell({ kept: true }));
    if (self.registration.sync) self.registration.sync.register("send").catch(() => {});
    return request.headers.get("HX-Request") ? new Response(null, { status: 204 }) : Response.redirect("/waiting", 303);
  }
}
/* The same words again within a minute are a finger that pressed twice; later they are another test with its own key. */
async function keepWaiting(entry) {
  const same = (await all()).filter((other) => other.path === entry.path && (other.sent || other.body) === entry.body);
  if (same.some((other) => Date.parse(entry.at) - Date.parse(other.at) < TWICE_MS)) return;
  entry.sent = entry.body;
  if (same.length) {
    const fields = new URLSearchParams(entry.body);
    fields.set("command_key", self.crypto.randomUUID());
    entry.body = fields.toString();
  }
  await store("readwrite", (rows) => rows.add(entry));
}
async function titleOf(path) {
  const kept = await caches.match(path, { cacheName: PAGES }), page = kept ? await kept.text() : "", say = wordsOf(page);
  const found = /<title>([^<]*?)(?: – [^<]*)?<\/title>/.exec(page);
  return found ? found[1] : path.endsWith("paint") ? say("A painted layer") : say("A touch test");
}

let sending = null;
function sendAll() {
  sending = sending || sendInOrder().finally(() => { sending = null; });
  return sending;
}
async function sendInOrder() {
  let sent = 0;
  for (const entry of await all()) {
    if (entry.refused) continue;
    let answer;
    try {
      answer = await fetch(entry.path, { method: "POST", body: entry.body, redirect: "manual", credentials: "same-origin",
        headers: { "Content-Type": entry.type, "Umberday-Happened-At": entry.at, ...(entry.who && { "Umberday-Who": entry.who }) } });
    } catch (error) {
      break;
    }
    if (answer.type === "opaqueredirect" || answer.ok) {
      await store("readwrite", (rows) => rows.delete(entry.id));
      sent += 1;
    } else if (answer.status >= 500 || answer.status === 429 || answer.status === 401) {
      break;
    } else {
      entry.refused = await answer.text();
      await store("readwrite", (rows) => rows.put(entry));
    }
  }
  await tell({ sent });
}
async function tell(news) {
  const waiting = (await all()).map(({ id, path, body, at, what, refused }) => ({ id, path, body, at, what, refused }));
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage({ waiting, ...news });
}
self.addEventListener("sync", (event) => { if (event.tag === "send") event.waitUntil(sendAll()); });
self.addEventListener("message", (event) => {
  const asked = event.data || {};
  if (asked.ask === "send") event.waitUntil(sendAll());
  else if (asked.ask === "drop") event.waitUntil(store("readwrite", (rows) => rows.delete(asked.id)).then(() => tell({})));
  else if (asked.ask === "forget") event.waitUntil(forget());
});
