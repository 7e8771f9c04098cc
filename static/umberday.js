/* Umberday works without this file. It adds: the choice of light or dark, rows added in place, a colour's dab that
   follows its field, drawers opened for print, the keyboard's place kept when a part of the page is exchanged, and what
   waits for the network. */
(function () {
  "use strict";
  var root = document.documentElement;

  // ---- words in the page's language: what the page brings, else English ----
  var brought = document.querySelector('meta[name="umberday-words"]');
  var words = brought ? JSON.parse(brought.content) : {};
  function say(text, value) { return (words[text] || text).replace("{value}", value); }

  // ---- a page that the browser kept alive and shows again on the way back is gone once somebody else is signed in here.
  // The cookie says whose pages were sent last (server/web/security/session_cookie.py); on http nothing else clears them.
  function whose() { return (/(?:^|; )(?:__Host-)?umberday_who=(\w+)/.exec(document.cookie) || ["", ""])[1]; }
  var madeFor = whose();
  window.addEventListener("pageshow", function (event) {
    if (!event.persisted || whose() === madeFor) return;
    root.hidden = true;
    location.reload();
  });

  // ---- light and dark: follows the device until the painter chooses; the server sends the choice with the page ----
  function chosenTheme() { return root.getAttribute("data-theme") || ""; }
  function sayTheme() {
    document.querySelectorAll("[data-theme-next]").forEach(function (button) { button.hidden = false; });
    document.querySelectorAll("[data-theme-word]").forEach(function (word) {
      word.textContent = { light: say("Daylight"), dark: say("Lamplight") }[chosenTheme()] || say("As my device");
    });
  }
  sayTheme();
  document.addEventListener("click", function (event) {
    if (!event.target.closest("[data-theme-next]")) return;
    var order = ["", "light", "dark"];
    var next = order[(order.indexOf(chosenTheme()) + 1) % order.length];
    if (next) root.setAttribute("data-theme", next); else root.removeAttribute("data-theme");
    document.cookie = "umberday_light=" + next + ";path=/;samesite=strict;max-age=" + (next ? 31536000 : 0);
    sayTheme();
  });

  // ---- rows of a list: the server knows how to do the same ----
  function renumber(row, name, from, to) {
    var old = name + "-" + from, fresh = name + "-" + to;
    row.setAttribute("data-row", to);
    row.querySelectorAll("*").forEach(function (node) {
      ["name", "id", "for", "list", "value", "aria-describedby"].forEach(function (attribute) {
        var value = node.getAttribute(attribute);
        if (value === null || (attribute === "value" && node.name !== "_remove")) return;
        var changed = value.split(old).join(fresh);
        if (changed !== value) node.setAttribute(attribute, changed);
      });
    });
  }
  function emptied(row) {
    row.querySelectorAll(".fault, .theirs").forEach(function (node) { node.remove(); });
    row.querySelectorAll(".has-fault").forEach(function (node) { node.classList.remove("has-fault"); });
    row.querySelectorAll("input, select, textarea").forEach(function (node) {
      node.removeAttribute("aria-invalid");
      if (node.type === "checkbox" || node.type === "radio") node.checked = false;
      else if (node.tagName === "SELECT") node.selectedIndex = 0;
      else if (node.type !== "hidden") node.value = "";
    });
  }
  function addRow(list, name) {
    var rows = list.querySelectorAll(":scope > .row-list > .row");
    if (!rows.length) return false;
    var last = rows[rows.length - 1], row = last.cloneNode(true);
    var number = 0;
    rows.forEach(function (other) { number = Math.max(number, Number(other.getAttribute("data-row")) + 1); });
    renumber(row, name, last.getAttribute("data-row"), number);
    emptied(row);
    last.after(row);
    var first = row.querySelector("input:not([type=hidden]), select, textarea");
    if (first) first.focus();
    return true;
  }
  function recount(list) {
    list.querySelectorAll(":scope > .row-list > .row").forEach(function (row, index) {
      var words = row.querySelector(".row-out .only-read");
      if (words) words.textContent = words.textContent.replace(/\d+$/, index + 1);
    });
  }
  function removeRow(list, row) {
    var rows = list.querySelectorAll(":scope > .row-list > .row");
    if (rows.length < 2) { emptied(row); return; }
    var beside = row.nextElementSibling || row.previousElementSibling;
    row.remove();
    var first = beside.querySelector("input:not([type=hidden]), select");
    if (first) first.focus();
  }
  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[name=_add], button[name=_remove]");
    var list = button && button.closest("[data-rows]");
    if (!list) return;
    if (button.name === "_add") {
      if (!addRow(list, button.value)) return;
    } else {
      removeRow(list, button.closest(".row"));
    }
    recount(list);
    event.preventDefault();
    list.dispatchEvent(new Event("change", { bubbles: true }));
  });

  // ---- a colour's dab follows its field ----
  document.addEventListener("input", function (event) {
    var field = event.target;
    if (!field.hasAttribute || !field.hasAttribute("data-colour")) return;
    var dab = field.parentNode.querySelector("[data-dab]");
    if (dab && /^#[0-9a-f]{6}$/i.test(field.value.trim())) dab.setAttribute("fill", field.value.trim());
  });

  // ---- a fault found by the server takes the keyboard's place ----
  function focusFaults(within) {
    var faults = within.querySelector ? within.querySelector("[data-focus]") : null;
    if (faults) faults.focus({ preventScroll: false });
  }
  document.addEventListener("DOMContentLoaded", function () { focusFaults(document); });

  // ---- the keyboard's place over an exchange: same id, same name, or the part that was exchanged ----
  var place = null;
  function remember() {
    var now = document.activeElement;
    place = now && now !== document.body
      ? { id: now.id, name: now.name, value: now.value, start: now.selectionStart, end: now.selectionEnd } : null;
  }
  function recall() {
    if (!place || (document.activeElement && document.activeElement !== document.body)) return;
    var again = place.id ? document.getElementById(place.id) : null;
    if (!again && place.name) {
      again = Array.from(document.getElementsByName(place.name)).find(function (node) { return node.value === place.value; });
    }
    if (!again) again = document.getElementById("main");
    if (!again) return;
    again.focus({ preventScroll: true });
    try { if (place.start !== undefined && place.start !== null) again.setSelectionRange(place.start, place.end); } catch (e) { /* not a text field */ }
  }
  ["htmx:before:swap", "htmx:beforeSwap"].forEach(function (name) { document.addEventListener(name, remember); });
  ["htmx:after:swap", "htmx:afterSwap"].forEach(function (name) {
    document.addEventListener(name, function (event) { recall(); focusFaults(event.target || document); showToday(document); });
  });

  // ---- a form that leads to a part of a page shows that part ----
  var led = false;
  document.addEventListener("htmx:after:history:push", function () { led = Boolean(location.hash); });
  document.addEventListener("htmx:after:swap", function () {
    var part = led && document.getElementById(location.hash.slice(1));
    led = false;
    if (part) part.scrollIntoView({ block: "start" });
  });

  // ---- a calendar opens with today in sight ----
  function showToday(within) {
    within.querySelectorAll("[data-today]").forEach(function (calendar) {
      var names = calendar.querySelector("th").offsetWidth;
      calendar.scrollLeft = Number(calendar.getAttribute("data-today")) - 0.35 * (calendar.clientWidth - names);
    });
  }
  document.addEventListener("DOMContentLoaded", function () { showToday(document); });

  // ---- the month at a calendar's left edge keeps its name in sight ----
  function keepMonthInSight(calendar) {
    var names = Array.from(calendar.querySelectorAll(".cal-month-name"));
    if (!names.length) return;
    var head = names[0].ownerSVGElement;
    var edge = 5 + calendar.scrollLeft * head.viewBox.baseVal.width / head.getBoundingClientRect().width;
    names.forEach(function (name) {
      if (!name.hasAttribute("data-x")) name.setAttribute("data-x", name.getAttribute("x"));
    });
    names.forEach(function (name, n) {
      var own = Number(name.getAttribute("data-x")), next = names[n + 1];
      var last = next ? Number(next.getAttribute("data-x")) - name.getComputedTextLength() - 10 : edge;
      name.setAttribute("x", Math.max(own, Math.min(edge, last)));
      // Where the next month leaves it no room, half a name would say nothing.
      name.setAttribute("visibility", Math.max(own, last) < edge ? "hidden" : "visible");
    });
  }
  document.addEventListener("scroll", function (event) {
    if (event.target.matches && event.target.matches(".cal")) keepMonthInSight(event.target);
  }, { capture: true, passive: true });

  // ---- within a calendar the keyboard moves it, shows less or more, and goes to today ----
  document.addEventListener("keydown", function (event) {
    var calendar = event.target.closest && event.target.closest("[data-keys]");
    if (!calendar || event.ctrlKey || event.metaKey || event.altKey) return;
    var names = { "+": "[data-closer]", "=": "[data-closer]", "-": "[data-wider]" };
    if (names[event.key]) {
      var link = document.querySelector(names[event.key]);
      if (link) { event.preventDefault(); link.click(); }
    } else if (event.key === "t" || event.key === "T") {
      event.preventDefault();
      var around = document.querySelector("[data-around-today]");
      if (calendar.hasAttribute("data-today")) showToday(document); else if (around) around.click();
    }
  });

  // ---- print shows what is in drawers ----
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.from(document.querySelectorAll("details:not([open])"));
    opened.forEach(function (drawer) { drawer.open = true; });
  });
  window.addEventListener("afterprint", function () { opened.forEach(function (drawer) { drawer.open = false; }); });

  // ---- a choice that sends its form at once (a day, a scale, a panel to look at) ----
  document.addEventListener("change", function (event) {
    var form = event.target.form;
    if (form && event.target.hasAttribute("data-send") && form.requestSubmit) form.requestSubmit();
  });

  // ---- an address to copy: selecting it by hand does the same ----
  document.querySelectorAll("[data-copy]").forEach(function (button) {
    if (!navigator.clipboard) return;
    button.hidden = false;
    button.addEventListener("click", function () {
      var field = document.getElementById(button.getAttribute("data-copy"));
      field.select();
      navigator.clipboard.writeText(field.value).then(function () { button.textContent = "Copied"; }, function () {});
    });
  });

  // ---- a bare wall offers this device's time zone where the studio counts by another ----
  document.querySelectorAll("[data-zone]").forEach(function (form) {
    var zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
    if (!zone || zone.replace("Etc/", "") === form.getAttribute("data-zone").replace("Etc/", "")) return;
    form.elements.time_zone.value = zone;
    form.querySelector("[data-zone-word]").textContent = zone;
    form.hidden = false;
  });

  // ---- without a network: what waits on this device, told on every page, listed on one ----
  function refusal(text) {
    var page = new DOMParser().parseFromString(text, "text/html"), found = page.querySelectorAll(".fault, .faults li, .error-message p");
    if (!found.length) found = page.querySelectorAll(".faults-title"); // of no field: the reason stands above them all
    return Array.from(found, function (node) { return node.textContent.trim(); }).filter(Boolean).slice(0, 3).join(" ") || say("The studio did not take it.");
  }
  function told(tag, text, kind) {
    var node = document.createElement(tag);
    node.textContent = text;
    if (kind) node.className = kind;
    return node;
  }
  function waitingRow(entry) {
    var row = told("li", "", "slab is-" + (entry.refused ? "stop" : "rests")), fields = new URLSearchParams(entry.body);
    var stage = { wet: say("wet"), tacky: say("tacky"), touch_dry: say("touch-dry"), firm: say("firm") }[fields.get("stage")];
    row.append(told("h2", entry.what + (stage ? ": " + stage : ""), "title"), told("p", say("Made {value}.", new Date(entry.at).toLocaleString(root.lang === "en" ? "en-GB" : root.lang)) + " " + (entry.refused ? "" : say("Waits to be sent."))));
    if (entry.refused) {
      var open = told("a", say("Open it and log it by hand"), "button");
      open.href = entry.path;
      row.append(told("p", say("Not taken: {value}", refusal(entry.refused))), open);
    }
    var out = told("button", say("Take it off this list"), "quiet");
    out.type = "button";
    out.addEventListener("click", function () {
      if (window.confirm(say("Take it off without logging it?"))) askWorker({ ask: "drop", id: entry.id });
    });
    row.append(out);
    return row;
  }
  function showWaiting(news) {
    var bar = document.getElementById("waiting"), list = document.querySelector("[data-waiting]");
    var refused = news.waiting.filter(function (entry) { return entry.refused; }).length, open = news.waiting.length - refused;
    if (bar) {
      var lines = [];
      if (news.kept) lines.push(say("No network: kept on this device."));
      if (news.sent) lines.push(news.sent === 1 ? say("One that waited is sent.") : say("{value} that waited are sent.", news.sent));
      if (open) lines.push(open === 1 ? say("One waits to be sent.") : say("{value} wait to be sent.", open));
      if (refused) lines.push(refused === 1 ? say("One was not taken.") : say("{value} were not taken.", refused));
      bar.hidden = !lines.length;
      bar.firstElementChild.textContent = lines.join(" ");
    }
    if (list) {
      list.replaceChildren.apply(list, news.waiting.map(waitingRow));
      document.querySelector("[data-waiting-none]").hidden = news.waiting.length > 0;
      document.querySelector("[data-waiting-send]").hidden = !open;
    }
    // A form sent from a page of its own stays there, emptied of meaning: go on to the list.
    if (news.kept && /^\/layers\//.test(location.pathname)) location.assign("/waiting");
  }
  function askWorker(what) {
    navigator.serviceWorker.ready.then(function (found) { if (found.active) found.active.postMessage(what); });
  }
  if (navigator.serviceWorker) {
    navigator.serviceWorker.register("/worker.js").catch(function () { /* then there is no waiting, all else works */ });
    navigator.serviceWorker.addEventListener("message", function (event) { if (event.data && event.data.waiting) showWaiting(event.data); });
    askWorker({ ask: document.querySelector("[data-signed-out]") ? "forget" : "send" });
    window.addEventListener("online", function () { askWorker({ ask: "send" }); });
    document.addEventListener("click", function (event) { if (event.target.closest("[data-waiting-send]")) askWorker({ ask: "send" }); });
  }
  // A page that was kept shows the moment it was kept in its field for now.
  if (document.querySelector(".offline")) {
    document.querySelectorAll("[data-now-in]").forEach(function (field) {
      try {
        field.value = new Date().toLocaleString("sv-SE", { timeZone: field.getAttribute("data-now-in") }).slice(0, 16).replace(" ", "T");
      } catch (e) { /* a zone this browser does not know: the painter sets the time */ }
    });
  }
})();
