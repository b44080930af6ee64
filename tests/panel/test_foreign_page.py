"""A foreign page in the same browser reads nothing of the panel and starts nothing."""

import http.server
import threading
import time
from pathlib import Path

from .browser import MARKS, By, opened, press, text, unlocked, until

pytestmark = MARKS
#: Served from another port and host name; PORT stands for the panel's.
FOREIGN = Path(__file__).parent / "foreign_page.html"


def test_a_foreign_page_reads_nothing_and_starts_nothing(chrome, bed):
    """The same page from another host name that also resolves to us (DNS rebinding), while the person is unlocked in
    the same browser and a start from elsewhere is even allowed: 0 of all attempts read or start anything."""

    class Foreign(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(FOREIGN.read_text(encoding="utf-8").replace("PORT", str(bed.port)).encode())

        def log_message(self, format, *arguments):
            pass

    bed.rest()
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Foreign)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        opened(chrome, bed)
        unlocked(chrome, bed)
        press(chrome, "allow")
        press(chrome, "ask-yes")
        until(lambda: "may be started from elsewhere" in text(chrome, "allow"))
        before = (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text()
        chrome.get(f"http://evil.test:{server.server_port}/")
        until(lambda: chrome.title == "done", 60.0)
        tried = chrome.execute_script("return window.tried")
        assert len(tried) > 20 and [t for t in tried if t[1] in ("READ", "DONE")] == []
        # The panel's page itself under the foreign name: refused before anything is served.
        chrome.get(f"http://evil.test:{bed.port}/")
        assert "not the name of this panel" in chrome.page_source
        time.sleep(1.0)
        assert not bed.status()["running"]
        assert (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text() == before
        # Under a name that is ours the page works.
        chrome.get(f"http://oven.test:{bed.port}/")
        until(lambda: "At rest" in text(chrome, "state"))
        assert not chrome.find_element(By.ID, "allow").is_displayed()
    finally:
        server.shutdown()
        server.server_close()
