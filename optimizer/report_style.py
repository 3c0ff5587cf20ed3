"""Style sheet of the report: one column on a phone, figures side by side on a wide screen, plain in print."""

PAGE_STYLE = """
:root { --ink: #22303c; --quiet: #5b6a76; --line: #d5dce2; --tint: #f3f6f8; --warn: #8c1d18;
  --accent: #0b5c8a; }
* { box-sizing: border-box; }
body { margin: 0; color: var(--ink); background: #fff; line-height: 1.5;
  font-family: system-ui, "Segoe UI", "DejaVu Sans", sans-serif; font-size: 1rem; overflow-wrap: anywhere; }
main { max-width: 76rem; margin: 0 auto; padding: 1.2rem 1rem 3rem; }
header { border-bottom: 3px solid var(--accent); margin-bottom: 1rem; }
h1 { margin: 0 0 .5rem; font-size: 1.9rem; line-height: 1.2; }
h2 { margin: 0 0 .5rem; font-size: 1.3rem; line-height: 1.25; }
h3 { margin: 1rem 0 .3rem; font-size: 1rem; }
p, ul { margin: .4rem 0; max-width: 48rem; }
ul { padding-left: 1.2rem; }
.kind { color: var(--quiet); margin: 0 0 .3rem; }
section { margin: 2rem 0; }
.lead p { font-size: 1.08rem; }
.caution { border-left: 5px solid var(--warn); background: #fdf3f2; padding: .8rem 1rem; }
.caution h2 { font-size: 1.05rem; color: var(--warn); }
.warn { color: var(--warn); font-weight: 600; }
.candidate { border-top: 1px solid var(--line); padding-top: 1.2rem; }
.sketch { max-width: 24rem; }
.pair { display: grid; gap: 1rem; align-items: start;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 27rem), 1fr)); }
figure { margin: .6rem 0; }
figure img { width: 100%; max-width: 40rem; height: auto; display: block; }
figcaption { color: var(--quiet); font-size: .9rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .93rem; margin: .5rem 0; }
th, td { text-align: left; padding: .32rem .8rem .32rem 0; border-bottom: 1px solid var(--line);
  vertical-align: top;  overflow-wrap: normal; }
th { color: var(--quiet); font-weight: 600; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
.record td { overflow-wrap: anywhere; }
a { color: var(--accent); }
details { margin: .6rem 0; }
summary { cursor: pointer; color: var(--accent); }
pre { background: var(--tint); padding: .8rem; overflow-x: auto; font-size: .85rem; line-height: 1.4; }
@media (max-width: 30rem) {
  h1 { font-size: 1.5rem; }
  table { font-size: .8rem; }
  th, td { padding-right: .5rem; }
}
@media print {
  body { font-size: 10pt; }
  main { padding: 0; max-width: none; }
  .candidate { break-before: page; }
  .pair { grid-template-columns: 1fr 1fr; }
  figure, table, .caution { break-inside: avoid; }
  details:not([open]) { display: none; }
}
"""
"""CSS of the page."""
