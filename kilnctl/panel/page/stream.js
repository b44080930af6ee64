// The page's stream of events: shared by all tabs if the browser can, else one per page. It is closed while the page is hidden.
export class Stream {
  constructor(heard) {
    this.heard = heard; this.have = ""; this.source = null; this.port = null;
    try {
      const worker = new SharedWorker("/page/shared.js");
      worker.onerror = () => { this.port = null; this.listen(); };
      this.port = worker.port;
      this.port.onmessage = (event) => this.heard(event.data.data, event.data.id);
      this.port.start();
    } catch { /* a browser without it */ }
    for (const [name, on] of [["visibilitychange", document], ["pagehide", window], ["pageshow", window]]) on.addEventListener(name, (event) => this.look(event.type === "pagehide"));
    // A stream keeps the session with which it was opened.
    window.addEventListener("session", () => (this.port ? this.port.postMessage("session") : this.listen()));
    setInterval(() => { if (!document.hidden) this.port?.postMessage("here"); }, 5000);
    this.look();
  }
  look(leaves = false) {
    const hidden = leaves || document.hidden;
    if (this.port) this.port.postMessage(hidden ? "hidden" : "shown");
    else if (hidden) { this.source?.close(); this.source = null; } else this.listen();
  }
  again() { if (document.hidden) return; if (this.port) this.port.postMessage("again"); else this.listen(); }
  listen() {
    this.source?.close();
    if (document.hidden) return;
    this.source = new EventSource("/api/events" + (this.have ? `?from=${this.have}` : ""));
    this.source.onmessage = (event) => { this.have = event.lastEventId || this.have; this.heard(event.data); };
  }
}
