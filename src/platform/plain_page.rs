//! Pages of words and forms, as whoever signs in for an app, opens the link of a mail or looks up a problem sees them: plain HTML
//! without script, and nothing from elsewhere.

use std::sync::LazyLock;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::token::sha256;

/// Colours have a contrast of 4.5 or more with what is behind them, in both schemes (WCAG 2.2, 1.4.3).
const STYLE: &str = "\
:root{color-scheme:light dark;--back:#fff;--text:#1b1b1f;--soft:#55555e;--line:#70707a;--act:#0b57a4;--on:#fff;--bad:#a3121f}\
@media(prefers-color-scheme:dark){:root{--back:#17171b;--text:#eeeef2;--soft:#b5b5c0;--line:#8b8b96;--act:#9ecbff;--on:#10233a;--bad:#ffb3b3}}\
*{box-sizing:border-box}\
body{margin:0;background:var(--back);color:var(--text);font:1rem/1.5 system-ui,sans-serif}\
main{max-width:30rem;margin:0 auto;padding:1.5rem 1rem 3rem}\
h1{font-size:1.4rem;line-height:1.3}\
label{display:block;margin-top:1rem;font-weight:600}\
input{width:100%;min-height:2.75rem;padding:.5rem;margin-top:.25rem;font:inherit;color:inherit;background:transparent;border:1px solid var(--line);border-radius:.3rem}\
button{min-height:2.75rem;padding:.5rem 1.25rem;margin:1.5rem .75rem 0 0;font:inherit;font-weight:600;color:var(--on);background:var(--act);border:2px solid var(--act);border-radius:.3rem;cursor:pointer}\
button.other{color:var(--act);background:transparent}\
a{color:var(--act)}\
:focus-visible{outline:3px solid var(--act);outline-offset:2px}\
.bad{color:var(--bad);font-weight:600}\
.soft{color:var(--soft)}\
code{overflow-wrap:anywhere}\
dt{margin-top:.75rem}";

static STYLE_HASH: LazyLock<String> = LazyLock::new(|| STANDARD.encode(sha256(STYLE.as_bytes())));

/// A text as HTML shows it, also inside an attribute in double quotes.
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A page in a language (BCP 47) with a title, which is escaped here, and a body, which is HTML.
pub fn html(language: &str, title: &str, body: &str) -> String {
    format!(
        "<!doctype html><html lang=\"{language}\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
content=\"width=device-width, initial-scale=1\"><meta name=\"robots\" content=\"noindex\"><title>{}</title><style>{STYLE}</style></head>\
<body><main>{body}</main></body></html>",
        escaped(title)
    )
}

/// What browsers may do with such a page: show its style and send its form, to this service and to what `leads` names, a blank before.
pub fn policy(leads: &str) -> String {
    let hash = &*STYLE_HASH;
    format!(
        "default-src 'none'; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'self'{leads}; frame-ancestors 'none'"
    )
}
