/** The look of an evidence page: paper and ink, one column, and states told by words and lines, not by colour alone. */
export const STYLE = `
:root { --ink: #1f2622; --soft: #56615a; --paper: #fbfaf5; --line: #cfd3c8; --moss: #2e5a3f; --clay: #8a4b1f; --brick: #8f2323; }
* { box-sizing: border-box; }
body { margin: 0; background: #e9e7de; color: var(--ink); font: 15px/1.5 Georgia, 'Liberation Serif', serif; }
main { max-width: 60rem; margin: 2rem auto; padding: 3rem 3.5rem; background: var(--paper); border: 1px solid var(--line); }
h1 { margin: 0; font-size: 2rem; line-height: 1.2; font-weight: normal; }
h2 { margin: 3rem 0 .75rem; padding-top: .5rem; border-top: 3px double var(--moss); font-size: 1.3rem; font-weight: normal; }
h3 { margin: 1.5rem 0 .5rem; font-size: 1rem; }
p { margin: .5rem 0; }
.lead { color: var(--soft); margin: .25rem 0 1.5rem; }
.mono { font: .85em/1.45 'DejaVu Sans Mono', 'Liberation Mono', monospace; overflow-wrap: anywhere; }
.banner { margin: 1.5rem 0; padding: .75rem 1rem; border: 2px dashed var(--brick); color: var(--brick); font-weight: bold; }
.gist { display: grid; grid-template-columns: repeat(auto-fit, minmax(9.5rem, 1fr)); gap: 0; margin: 1.5rem 0; border: 1px solid var(--line); }
.gist > div { padding: .75rem 1rem; border: 1px solid var(--line); margin: -1px 0 0 -1px; }
.gist dt { color: var(--soft); font-size: .85rem; }
.gist dd { margin: 0; font-size: 1.1rem; }
nav ol { columns: 2; margin: 0; padding-left: 1.5rem; }
a { color: var(--moss); }
a:focus-visible { outline: 3px solid var(--clay); outline-offset: 2px; }
table { width: 100%; border-collapse: collapse; margin: .75rem 0; font-size: .92rem; }
caption { text-align: left; color: var(--soft); padding-bottom: .35rem; }
th, td { text-align: left; vertical-align: top; padding: .4rem .6rem .4rem 0; border-bottom: 1px solid var(--line); }
thead th { border-bottom: 2px solid var(--moss); font-weight: normal; color: var(--soft); }
tbody th { font-weight: bold; }
.cited tbody th { width: 24%; overflow-wrap: anywhere; }
.cited small { display: block; font-weight: normal; }
td.number, th.number { text-align: right; padding-right: 1.25rem; white-space: nowrap; }
.state { display: inline-block; padding: 0 .5rem; white-space: nowrap; border-left: 4px solid var(--moss); }
.state.part { border-left-style: dashed; border-left-color: var(--clay); }
.state.no { border-left-style: double; border-left-width: 6px; border-left-color: var(--brick); font-weight: bold; }
.state.else { border-left-style: dotted; border-left-color: var(--soft); color: var(--soft); }
.chain { list-style: none; margin: .75rem 0; padding: 0; }
.chain li { position: relative; margin: 0 0 0 .5rem; padding: 0 0 1rem 1.5rem; border-left: 2px solid var(--moss); }
.chain li:last-child { border-left-color: transparent; padding-bottom: 0; }
.chain li::before { content: ''; position: absolute; left: -7px; top: .4rem; width: 12px; height: 12px; background: var(--paper); border: 2px solid var(--moss); transform: rotate(45deg); }
.bar { width: 100%; height: .9rem; border: 1px solid var(--moss); background: var(--paper); }
.bar span { display: block; height: 100%; background: repeating-linear-gradient(45deg, var(--moss) 0 4px, #54806a 4px 8px); }
footer { margin-top: 3rem; color: var(--soft); font-size: .85rem; border-top: 1px solid var(--line); padding-top: .75rem; }
@media (max-width: 40rem) { main { margin: 0; padding: 1.25rem; } nav ol { columns: 1; } th, td { overflow-wrap: anywhere; } }
@media print {
  @page { size: A4; margin: 18mm 16mm; }
  body { background: none; font-size: 10pt; }
  main { margin: 0; padding: 0; border: 0; max-width: none; background: none; }
  nav { display: none; }
  h2 { break-after: avoid; margin-top: 1.5rem; }
  tr, .chain li, .gist > div, .banner { break-inside: avoid; }
  thead { display: table-header-group; }
  a { color: inherit; text-decoration: none; }
  .bar span, .state { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
`;
