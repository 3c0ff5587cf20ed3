"""Style sheet of the pages: one column on a phone, cards on a wide screen, everything open in print."""

PAGE_STYLE = """
:root { --ink: #22303c; --quiet: #55646f; --line: #d5dce2; --tint: #f3f6f8; --warn: #8c1d18;
  --accent: #0b5c8a; }
* { box-sizing: border-box; }
html { scroll-padding-top: 1rem; }
body { margin: 0; color: var(--ink); background: #fff; line-height: 1.5;
  font-family: system-ui, "Segoe UI", "DejaVu Sans", sans-serif; font-size: 1rem; overflow-wrap: anywhere; }
main { max-width: 78rem; margin: 0 auto; padding: 1.2rem 1rem 3rem; }
header { border-bottom: 3px solid var(--accent); margin-bottom: 1rem; }
h1 { margin: 0 0 .5rem; font-size: 1.9rem; line-height: 1.2; }
h2 { margin: 0 0 .6rem; font-size: 1.4rem; line-height: 1.25; }
h3 { margin: .2rem 0 .2rem; font-size: 1.15rem; line-height: 1.3; }
h4 { margin: 1rem 0 .3rem; font-size: 1rem; }
p, ul { margin: .4rem 0; max-width: 48rem; }
ul { padding-left: 1.2rem; }
li { margin: .15rem 0; }
a { color: var(--accent); }
:focus-visible { outline: 3px solid #d55e00; outline-offset: 2px; }
section { margin: 2.2rem 0; }
.kind { color: var(--quiet); margin: 0 0 .3rem; }
.tiles { display: grid; gap: .7rem; margin: 1rem 0; padding: 0;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 15rem), 1fr)); }
.tiles div { background: var(--tint); border-top: 3px solid var(--accent); padding: .6rem .8rem; }
.tiles dt { color: var(--quiet); font-size: .9rem; }
.tiles dd { margin: 0; font-size: .95rem; }
.tiles b { display: block; font-size: 1.45rem; line-height: 1.25; }
.caution { border-left: 5px solid var(--warn); background: #fdf3f2; padding: .5rem 1rem; margin: 1rem 0; }
.caution b { color: var(--warn); }
nav { display: flex; flex-wrap: wrap; gap: .3rem 1.1rem; border-bottom: 1px solid var(--line);
  padding: .4rem 0; }
nav a { padding: .25rem 0; }
.warn { color: var(--warn); font-weight: 600; }
.card { display: grid; grid-template-columns: minmax(0, 18rem) minmax(0, 1fr); gap: 0 1.5rem;
  border: 1px solid var(--line); border-radius: 4px; padding: 1rem; margin: 0 0 1rem; }
.card > details { grid-column: 1 / -1; margin: .6rem 0 0; border-top: 1px solid var(--line);
  padding-top: .6rem; }
.sketch figure { margin: 0; }
.sketch figcaption { display: none; }
.role { color: var(--quiet); margin: 0; }
.score { font-size: 1.6rem; font-weight: 700; margin: 0; line-height: 1.3; }
.files { display: flex; flex-wrap: wrap; align-items: center; gap: .4rem 1rem; max-width: none; }
.get, button { display: inline-block; font: inherit; color: #fff; background: var(--accent); border: 0;
  border-radius: 4px; padding: .4rem .8rem; text-decoration: none; cursor: pointer; }
.side { display: grid; gap: 1rem; grid-template-columns: repeat(auto-fit, minmax(min(100%, 18rem), 1fr)); }
.winner { border: 1px solid var(--line); border-radius: 4px; padding: 1rem; min-width: 0; }
.pair { display: grid; gap: 1rem; align-items: start;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 27rem), 1fr)); }
figure { margin: .6rem 0; }
figure img { width: 100%; max-width: 40rem; height: auto; display: block; }
figcaption { color: var(--quiet); font-size: .9rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .93rem; margin: .5rem 0; }
th, td { text-align: left; padding: .32rem .8rem .32rem 0; border-bottom: 1px solid var(--line);
  vertical-align: top; overflow-wrap: normal; }
th { color: var(--quiet); font-weight: 600; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
td.n { white-space: nowrap; }
.record td + td { overflow-wrap: anywhere; }
details { margin: .6rem 0; }
summary { cursor: pointer; color: var(--accent); padding: .2rem 0; }
pre { background: var(--tint); padding: .8rem; overflow-x: auto; font-size: .85rem; line-height: 1.4;
  margin: .4rem 0; }
.filters { display: flex; flex-wrap: wrap; gap: .5rem 1.4rem; align-items: end; margin: .6rem 0; }
.filters label { display: grid; grid-template-columns: minmax(0, 1fr); gap: .15rem; font-size: .9rem;
  color: var(--quiet); max-width: 100%; }
.filters .tick { display: block; align-self: center; }
.filters span { display: flex; gap: .5rem; align-items: center; }
.filters output { color: var(--ink); min-width: 5.5rem; }
select, input { font: inherit; color: var(--ink); accent-color: var(--accent); max-width: 100%; }
select { padding: .25rem; border: 1px solid var(--quiet); border-radius: 4px; background: #fff; }
.key { display: flex; flex-wrap: wrap; gap: .1rem 1.1rem; list-style: none; padding: 0; max-width: none;
  font-size: .9rem; }
.pair > div { min-width: 0; }
.rows table { font-size: .85rem; }
.rows { max-height: 26rem; overflow: auto; }
.rows thead th { position: sticky; top: 0; background: #fff; }
.rows tr.on td { background: #e4eff6; }
.rows tr.top td { border-bottom: 2px solid var(--ink); }
.rows tbody tr { cursor: pointer; }
button.plain { background: none; color: var(--accent); padding: 0; text-decoration: underline;
  white-space: nowrap; }
.chosen td { padding-right: 1.6rem; }
@media (max-width: 44rem) {
  h1 { font-size: 1.5rem; }
  main { padding: .8rem .8rem 2rem; }
  .tiles { grid-template-columns: 1fr 1fr; gap: .5rem; }
  .tiles b { font-size: 1.15rem; }
  .tiles div { padding: .45rem .6rem; }
  .card { grid-template-columns: minmax(0, 1fr); padding: .8rem; }
  .sketch { max-width: 20rem; }
  table { font-size: .82rem; }
  th, td { padding-right: .5rem; }
  td.n { white-space: normal; }
}
@media print {
  body { font-size: 10pt; }
  main { padding: 0; max-width: none; }
  nav, .get, button, .screen { display: none; }
  .card { border: 0; border-top: 1px solid var(--line); border-radius: 0; }
  .card + .card { break-before: page; }
  .pair { grid-template-columns: 1fr 1fr; }
  figure, tr, .caution, .facts { break-inside: avoid; }
  h2, h3, h4 { break-after: avoid; }
  pre { white-space: pre-wrap; font-size: 8pt; columns: 2; }
}
"""
"""CSS of the pages."""
