//! How the page looks: greys and one accent, on paper, light or dark.
//!
//! A style inside a picture holds for the whole page: classes of one letter are the
//! diagram's, so none of the page's own has one.

/// The style sheet. Every pair of letters and ground has a contrast of 4.5 to 1 or more;
/// `tests/report.rs` works that out again.
pub(crate) const STYLE: &str = "
:root{--ground:#fff;--panel:#f3f4f5;--ink:#1b1f23;--quiet:#555d66;--line:#c9ced3;--accent:#005f87;--shade:#d5d9dd}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;padding:1.5rem 1rem 3rem;max-width:72rem;background:var(--ground);color:var(--ink);font:1rem/1.5 system-ui,'Segoe UI',Roboto,'Helvetica Neue',Arial,sans-serif;overflow-wrap:break-word}
h1{font-size:1.75rem;line-height:1.2;margin:0 0 .25rem}
h2{font-size:1.25rem;line-height:1.3;margin:0 0 .75rem}
h3{font-size:1rem;margin:1rem 0 .25rem}
p{margin:0 0 .6rem;max-width:44rem}
section{margin-top:2rem;padding-top:1.25rem;border-top:1px solid var(--line)}
.kicker{margin:0;letter-spacing:.12em;text-transform:uppercase;font-size:.8125rem;color:var(--quiet)}
.quiet{color:var(--quiet)}
.training{border-left:3px solid var(--accent);padding-left:.75rem;color:var(--quiet);font-size:.9375rem}
code{font-family:ui-monospace,'DejaVu Sans Mono',Consolas,Menlo,monospace;font-size:.9375em}
td,th,li,code,dd,dt{unicode-bidi:isolate}
a{color:var(--accent)}
a:focus-visible,[tabindex]:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
nav ul{display:flex;flex-wrap:wrap;gap:.25rem 1.25rem;margin:0;padding:0;list-style:none;font-size:.9375rem}
nav a{display:inline-block;padding:.25rem 0}
ul.tight,ol.tight{margin:0 0 .75rem;padding-left:1.25rem}
ul.tight li{margin:.15rem 0}
.verdict{border-top:0;padding:1.25rem;background:var(--panel);border-radius:.25rem}
.pair{display:grid;gap:1rem 2.5rem}
.pair h3:first-child{margin-top:.25rem}
.score{margin:.25rem 0 .5rem}
.score strong{font-size:3rem;line-height:1;font-variant-numeric:tabular-nums}
table{width:100%;border-collapse:collapse;font-size:.9375rem;font-variant-numeric:tabular-nums}
caption{text-align:left;color:var(--quiet);padding:0 0 .4rem}
th,td{padding:.4rem .6rem .4rem 0;text-align:left;vertical-align:top;border-bottom:1px solid var(--line);font-weight:400}
thead th{color:var(--quiet);font-size:.8125rem;vertical-align:bottom}
th:last-child,td:last-child{padding-right:0}
.num{text-align:right;white-space:nowrap;overflow-wrap:normal}
.act{display:block;font-weight:600}
.also{display:block;color:var(--quiet);margin-top:.15rem}
.flag{display:inline-block;border:1px solid var(--ink);border-radius:.2rem;padding:0 .35rem;margin-right:.35rem;font-size:.8125rem;font-weight:600}
tbody th{white-space:nowrap}
.marks{width:auto}
.marks th,.marks td{border:0;padding:.1rem 1rem .1rem 0}
.bar{display:inline-block;width:6rem;height:.55rem;margin-right:.5rem;border:1px solid var(--quiet)}
.bar i{display:block;height:100%;background:var(--accent)}
.habits{margin:0;padding-left:1.5rem}
.habits li{margin-bottom:1.25rem}
.habits li::marker{font-weight:600}
.habits h3{margin:0}
.plots{display:grid;gap:1rem 2rem;margin:0 0 1rem}
figure{margin:0}
figcaption{font-weight:600;margin-bottom:.25rem}
.plot{display:block;width:100%;height:auto;max-width:36rem}
.plot text{font-family:system-ui,'Segoe UI',Roboto,Arial,sans-serif;font-size:10px;fill:var(--quiet);font-variant-numeric:tabular-nums}
.plot .own-n{fill:var(--accent);font-weight:700}
.plot .grid{stroke:var(--line);stroke-width:1;fill:none}
.plot .axis{stroke:var(--quiet);stroke-width:1;fill:none}
.plot .own{stroke:var(--accent);stroke-width:2;fill:none}
.plot .par{stroke:var(--quiet);stroke-width:1.75;fill:none;stroke-dasharray:5 3}
.plot .own-d{fill:var(--accent)}
.plot .par-d{fill:var(--ground);stroke:var(--quiet);stroke-width:1.25}
.plot .ring{fill:none;stroke:var(--ink);stroke-width:1.5}
.key{display:flex;flex-wrap:wrap;gap:.25rem 1.5rem;margin:0 0 .75rem;padding:0;list-style:none;color:var(--quiet);font-size:.9375rem}
.key .plot{display:inline-block;width:2.25rem;height:.75rem;margin-right:.4rem;vertical-align:-.05rem}
.out{margin:0}
.figures{width:auto;margin:0 0 1.25rem}
.figures th,.figures td{padding-right:1.25rem}
.known{overflow-wrap:anywhere}
.known th{overflow-wrap:normal;white-space:nowrap}
.legend{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:1rem 0 0;font-size:.875rem;color:var(--quiet)}
.legend dt{font-weight:600}
.legend dd{margin:0}
summary{cursor:pointer}
summary:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
.out dt{margin-top:.6rem}
.out dd{margin:0 0 .2rem;color:var(--quiet);font-size:.875rem}
.diagram{overflow-x:auto;background:#fff;border:1px solid var(--line);padding:.5rem}
.diagram svg{display:block;max-width:none}
.diagram .s.x{fill:#d5d9dd}
.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.narrow{display:none}
@media (min-width:48rem){.pair,.plots{grid-template-columns:1fr 1fr}}
@media (max-width:47.99rem){.wide{display:none}.narrow{display:block}body{padding-top:1rem}h1{font-size:1.5rem}.verdict{margin-left:-.5rem;margin-right:-.5rem;padding:1rem .75rem}}
@media screen and (prefers-color-scheme:dark){:root{--ground:#14171a;--panel:#1d2226;--ink:#e6e8ea;--quiet:#a7b0b8;--line:#3a4147;--accent:#73bfe6}.diagram{filter:invert(1) hue-rotate(180deg);border-color:#c5beb8}}
@page{size:A4;margin:14mm}
@page wide{size:A4 landscape;margin:10mm}
@media print{body{max-width:none;padding:0;font-size:10pt}.pair,.plots{grid-template-columns:1fr 1fr}.training{font-size:9pt}nav{display:none}section{margin-top:1rem}h2,h3,caption{break-after:avoid}tr,li,figure,.out dt{break-inside:avoid}thead{display:table-header-group}.verdict{background:none;border:1px solid var(--line)}.bar i{print-color-adjust:exact;-webkit-print-color-adjust:exact}#system{page:wide}.diagram{overflow:visible;border:0;padding:0}.diagram svg{width:100%;height:auto;max-height:165mm}.diagram .s.x{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
";
