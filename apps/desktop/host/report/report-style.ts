/** The style sheet of the report: one column for reading, dark on white, with rules for print. */
export const REPORT_STYLE = `
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 2rem 1.25rem 4rem; max-width: 52rem; background: #fff; color: #1a2128;
  font: 1rem/1.5 system-ui, "Segoe UI", "DejaVu Sans", sans-serif; }
h1 { margin: 0 0 .25rem; font-size: 1.7rem; line-height: 1.2; }
h2 { margin: 2.5rem 0 .5rem; padding-top: .75rem; border-top: 1px solid #c3ccd3; font-size: 1.25rem; }
h3 { margin: 1.5rem 0 .25rem; font-size: 1rem; }
p, ul { margin: .5rem 0; max-width: 44rem; }
ul { padding-left: 1.25rem; }
.about { color: #4a5661; }
.invented { margin: 0 0 1.5rem; padding: .6rem .9rem; border: 2px dashed #1a2128; font-weight: 600; }
.answer { margin: 1.25rem 0; padding: .25rem 1.1rem; border-left: 4px solid #16324a; background: #f3f6f8; font-size: 1.1rem; }
.caution { margin: 1rem 0; padding: .6rem .9rem; border: 1px solid #8a949c; }
figure { margin: 1rem 0; }
figure svg { display: block; max-width: 100%; height: auto; }
figcaption { max-width: 44rem; color: #4a5661; font-size: .9rem; }
.wide { margin: 1rem 0; overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
caption { padding-bottom: .35rem; text-align: left; font-weight: 600; white-space: nowrap; }
th, td { padding: .25rem .9rem .25rem 0; border-bottom: 1px solid #dde3e8; text-align: left; vertical-align: top; font-weight: 400; }
thead th { border-bottom: 1px solid #8a949c; color: #4a5661; vertical-align: bottom; }
.number, .result { text-align: right; }
td.number, .code { white-space: nowrap; }
.number + .text, .result + .text { padding-left: .5rem; }
dt { margin-top: .75rem; font-weight: 600; }
dd { margin: 0; max-width: 44rem; }
blockquote { margin: .5rem 0; padding: .25rem 1rem; max-width: 44rem; border-left: 3px solid #c3ccd3; }
ol { max-width: 44rem; padding-left: 1.5rem; font-size: .9rem; }
a { color: #16324a; }
code { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .85em; overflow-wrap: anywhere; }
@media print {
  @page { margin: 16mm; }
  body { padding: 0; max-width: none; font-size: 10pt; }
  h1 { font-size: 17pt; } h2 { font-size: 13pt; } .answer { font-size: 11pt; }
  h2, h3, caption, dt { break-after: avoid; }
  p, li, dd { orphans: 3; widows: 3; }
  dd { break-inside: avoid; }
  figure, .answer, .caution, .invented, .short, tr { break-inside: avoid; }
  /* No table leaves one or two rows alone on a page. */
  tbody tr:nth-child(-n + 2) { break-after: avoid; }
  tbody tr:nth-last-child(-n + 2) { break-before: avoid; }
  thead { display: table-header-group; }
  .wide { overflow: visible; }
  figure svg { width: auto; max-height: 100mm; }
  figcaption { font-size: 8.5pt; }
  table { max-width: 100%; font-size: 8pt; }
  caption, td.number { white-space: normal; }
  th, td { padding-right: .6rem; }
  .answer, .caution { background: none; }
}
`;
