"""Threat: text that a painter typed, or a fault in a template, that runs as script; a stranger's page that frames
ours, reads our answers or learns our addresses. The policy allows scripts and styles from our own files alone, so
there is no inline script, no inline style and nothing evaluated from text."""

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.security import public_links

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: browsers then send "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


# Where the studio is called by https: never by anything else, for a year.
HTTPS_ONLY = ("Strict-Transport-Security", "max-age=31536000")


class SecurityHeaders:
    """``https``: browsers are told to stay with it, and every cookie is marked Secure."""

    def __init__(self, app: ASGIApp, https: bool = False) -> None:
        self.app = app
        self.https = https

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in {**HEADERS, **public_links.headers_of(scope)}.items():
                    if value is not None:
                        headers[name] = value
                if self.https:
                    headers[HTTPS_ONLY[0]] = HTTPS_ONLY[1]
                    _secure_cookies(headers)
            await send(message)

        await self.app(scope, receive, send_with_headers)


def _secure_cookies(headers: MutableHeaders) -> None:
    cookies = headers.getlist("set-cookie")
    if cookies:
        del headers["set-cookie"]
        for cookie in cookies:
            is_secure = "; secure" in cookie.lower()
            headers.append("set-cookie", cookie if is_secure else f"{cookie}; Secure")
