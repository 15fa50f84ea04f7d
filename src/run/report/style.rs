//! Every colour of a report, and its style sheet. A report is read on a light ground and on paper:
//! no meaning hangs on a colour alone, there is a shape, a pattern or a word beside each.

/// The paper.
pub const PAPER: &str = "#ffffff";
/// Words, axes.
pub const INK: &str = "#1a1a1a";
/// Lesser words; 7 to 1 against the paper.
pub const SOFT_INK: &str = "#4d4d4d";
/// Fine lines.
pub const RULE: &str = "#b8b8b8";
/// Grounds of heads of tables and of boxes.
pub const GROUND: &str = "#f3f1ec";
/// The rate.
pub const RATE: &str = "#0b4f8a";
/// Its limits.
pub const LIMITS: &str = "#bcd3e8";
/// The band.
pub const BAND: &str = "#dcefdc";
/// The edges of the band.
pub const BAND_EDGE: &str = "#2b6e3f";
/// Blind spells, as lines of a pattern.
pub const BLIND: &str = "#6b6b6b";
/// Stops, as lines of a pattern; what lies outside its limits.
pub const ALARM: &str = "#a61c1c";
/// Marks.
pub const MARK: &str = "#6a2c91";
/// Changes of rate.
pub const CHANGE: &str = "#9a5b00";
/// The ground of a caution.
pub const CAUTION: &str = "#fff4d6";
/// Its edge.
pub const CAUTION_EDGE: &str = "#9a6a00";

/// The style sheet of a report.
#[must_use]
pub fn sheet() -> String {
    format!(
        "\
:root {{ color-scheme: light; }}
html {{ background: {PAPER}; color: {INK}; -webkit-print-color-adjust: exact; print-color-adjust: exact; }}
body {{ font: 16px/1.45 system-ui, 'Noto Sans', 'DejaVu Sans', Arial, sans-serif; max-width: 62rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; }}
h1 {{ font-size: 1.7rem; line-height: 1.2; margin: 0 0 .3rem; }}
h2 {{ font-size: 1.3rem; margin: 2.2rem 0 .5rem; padding-bottom: .2rem; border-bottom: 2px solid {INK}; }}
h3 {{ font-size: 1.05rem; margin: 1.4rem 0 .4rem; }}
p, ul, ol {{ margin: .4rem 0 .8rem; max-width: 48rem; }}
li {{ margin: .15rem 0; }}
a {{ color: {RATE}; }}
.skip {{ position: absolute; left: -100vw; }}
.skip:focus {{ left: 1rem; }}
.lead {{ color: {SOFT_INK}; }}
.caution {{ background: {CAUTION}; border: 1px solid {CAUTION_EDGE}; border-left-width: 6px; padding: .5rem .8rem; margin: .8rem 0; max-width: none; }}
.caution p, .caution ul {{ max-width: none; margin: .2rem 0; }}
.verdict {{ font-size: 1.1rem; font-weight: 600; }}
nav ul {{ columns: 2; padding-left: 1.2rem; }}
table {{ border-collapse: collapse; margin: .5rem 0 1.1rem; font-size: .875rem; font-variant-numeric: tabular-nums; }}
caption {{ text-align: left; font-weight: 600; padding: .2rem 0; }}
caption .note {{ font-weight: 400; color: {SOFT_INK}; }}
th, td {{ border: 1px solid {RULE}; padding: .22rem .5rem; text-align: left; vertical-align: top; }}
thead th {{ background: {GROUND}; }}
tbody th {{ font-weight: 600; }}
td.n, th.n {{ text-align: right; white-space: nowrap; }}
td.t {{ white-space: nowrap; }}
.scroll {{ overflow-x: auto; }}
figure {{ margin: .6rem 0 1.1rem; }}
figcaption {{ font-size: .875rem; color: {SOFT_INK}; max-width: 56rem; }}
svg {{ display: block; width: 100%; height: auto; background: {PAPER}; }}
svg text {{ font: 13px system-ui, 'Noto Sans', 'DejaVu Sans', Arial, sans-serif; fill: {INK}; }}
svg text.soft {{ fill: {SOFT_INK}; }}
svg text.small {{ font-size: 11.5px; }}
.pair {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(22rem, 1fr)); gap: 0 1.5rem; align-items: start; }}
.drops {{ columns: 2; column-gap: 1.5rem; }}
.drops table {{ width: 100%; margin-top: 0; }}
.drops img {{ display: block; height: 2.1rem; width: auto; image-rendering: auto; background: {GROUND}; }}
.drops td {{ vertical-align: middle; padding: .1rem .4rem; }}
pre {{ font: .78rem/1.35 ui-monospace, 'DejaVu Sans Mono', monospace; background: {GROUND}; padding: .6rem .8rem; overflow-x: auto; white-space: pre-wrap; overflow-wrap: anywhere; }}
footer {{ margin-top: 2.5rem; border-top: 1px solid {RULE}; color: {SOFT_INK}; font-size: .875rem; }}
.blanks td {{ height: 2.2rem; }}
.blanks th {{ width: 11rem; }}
@page {{ size: A4; margin: 14mm 13mm; }}
@media print {{
  body {{ font-size: 10pt; max-width: none; padding: 0; }}
  h1 {{ font-size: 17pt; }} h2 {{ font-size: 13pt; margin-top: 1.2rem; }} h3 {{ font-size: 11pt; }}
  nav, .skip {{ display: none; }}
  .feed {{ break-before: page; }}
  h2, h3, h2 + p, caption {{ break-after: avoid; }}
  figure, tr, .caution, li {{ break-inside: avoid; }}
  thead {{ display: table-header-group; }}
  table, figcaption {{ font-size: 8.5pt; }}
  .scroll {{ overflow: visible; }}
  a {{ color: inherit; text-decoration: none; }}
  .pair {{ grid-template-columns: 1fr 1fr; gap: 0 6mm; }}
  .drops img {{ height: 5mm; }} .drops td, .drops th {{ padding: 0 1mm; }}
}}
"
    )
}
