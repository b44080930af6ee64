// One stream of events for all tabs of this browser: it may hold six connections to one server, and each is needed. Closed while no tab is in sight.
const LOST_MS = 15000, RARELY_MS = 3000;
const tabs = new Map(); // port → when it was last in sight
let source = null, opened = 0, soon = 0;

function open() {
  soon = 0; opened = Date.now();
  source?.close();
  source = new EventSource("/api/events");
  source.onmessage = (event) => { for (const port of tabs.keys()) port.postMessage({ data: event.data, id: event.lastEventId }); };
}
// A tab that becomes visible lacks rows: send the whole curve to all tabs.
function openSoon(after = 100) { if (!soon) soon = setTimeout(open, after); }
function gone(port) {
  tabs.delete(port);
  if (!tabs.size) { clearTimeout(soon); soon = 0; source?.close(); source = null; }
}
const does = {
  shown: (port) => { tabs.set(port, Date.now()); openSoon(); },
  here: (port) => { if (tabs.has(port)) tabs.set(port, Date.now()); else does.shown(port); },
  hidden: gone,
  session: () => openSoon(),
  again: () => { if (Date.now() - opened > RARELY_MS) openSoon(); },
};
self.onconnect = (event) => { const port = event.ports[0]; port.onmessage = (message) => does[message.data]?.(port); };
setInterval(() => { for (const [port, seen] of tabs) if (Date.now() - seen > LOST_MS) gone(port); }, 5000);
