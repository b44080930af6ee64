"""The look of everything that we draw or lay out: colours, and the style of pages. Pictures, pages of runs and of
studies take it from here."""

INK, FAINT, LINE, WARM, ALARM = "#1d2433", "#5b6475", "#dfe3ea", "#b3400a", "#a3122a"
#: What wants a look, and what a person held: flags in curves.
CARE, HELD = "#8a6100", "#1f4468"
#: The box in which a soak's time counts.
SOAK_BAND = "#f6d9b4"
#: Grounds: of a soak in a curve, and of the middle of a distribution.
SOAK, MIDDLE = "#f1ead9", "#f6ead9"
#: Grounds of layers in a wall's cross-section by kind of material; others get the soak's.
LAYERS = {
    "insulating firebrick": "#f3dcc6",
    "dense refractory": "#e2c4ae",
    "masonry": "#ddd3cb",
    "ceramic fibre": "#f4f1e4",
    "mineral wool": "#ecebc9",
    "glass wool": "#f6ecc0",
    "calcium silicate": "#e3ece3",
    "vermiculite": "#eee0c8",
    "metal": "#b8c1cb",
    "gap": "#e9f2fa",
}

_COLOURS = f"""
:root {{ color-scheme: light; --ink: {INK}; --faint: {FAINT}; --line: {LINE}; --warm: {WARM};
  --alarm: {ALARM}; }}
"""
_RULES = """* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 64rem; padding: 1.2rem 1.2rem 3rem; font: 16px/1.45 system-ui, sans-serif;
  color: var(--ink); }
header { border-top: 6px solid var(--warm); padding-top: .9rem; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 1.08rem; margin: 1.9rem 0 .45rem; }
p { margin: .35rem 0; }
.faint { color: var(--faint); }
.small { font-size: .86rem; }
.words { text-align: left; white-space: normal; }
.alarm { border-left: 6px solid var(--alarm); padding: .55rem .8rem; background: #fbf0f1; margin: .7rem 0; }
.care { border-left: 6px solid #b98900; padding: .55rem .8rem; background: #fdf7e7; margin: .7rem 0; }
.figures { display: grid; grid-template-columns: repeat(auto-fit, minmax(8.6rem, 1fr)); gap: 1px;
  margin: 1rem 0; }
.figures div { box-shadow: 0 0 0 1px var(--line); padding: .5rem .75rem; }
.figures b { display: block; font-size: 1.25rem; font-weight: 600; font-variant-numeric: tabular-nums; }
.figures span { color: var(--faint); font-size: .86rem; }
.scroll { overflow-x: auto; }
svg { width: 100%; height: auto; display: block; }
.narrow { display: none; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: .28rem 1rem .28rem 0; text-align: right; white-space: nowrap; border-bottom: 1px solid
  var(--line); vertical-align: top; }
th { font-weight: 600; color: var(--faint); font-size: .86rem; }
th:first-child, td:first-child { text-align: left; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .22rem 1.2rem; margin: 0; }
dt { color: var(--faint); }
dd { margin: 0; overflow-wrap: anywhere; }
details summary { cursor: pointer; color: var(--faint); margin: .4rem 0; }
@media (max-width: 640px) {
  body { padding: .9rem .9rem 2rem; }
  .wide { display: none; }
  .narrow { display: block; }
  dl { grid-template-columns: 1fr; gap: 0; }
  dd { margin-bottom: .4rem; }
  th, td { padding-right: .7rem; }
  .many thead { display: none; }
  .many, .many tbody, .many tr { display: block; }
  .many tr { border-bottom: 1px solid var(--line); padding: .35rem 0; }
  .many td { display: flex; justify-content: space-between; gap: 1rem; border: 0; padding: .08rem 0;
    text-align: right; }
  .many td::before { content: attr(data-head); color: var(--faint); }
  .many td:first-child { font-weight: 600; text-align: left; }
  .many td:first-child::before { content: none; }
}
@media print {
  @page { margin: 14mm; }
  html { font-size: 10.5px; }
  body { font-size: 1rem; padding: 0; max-width: none; }
  h2 { break-after: avoid; margin-top: 1.1rem; }
  tr, .alarm, .care, .figures, svg { break-inside: avoid; }
  .narrow { display: none; }
  .wide { display: block; }
  .scroll { overflow: visible; }
}
"""
STYLE = _COLOURS + _RULES
