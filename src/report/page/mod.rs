//! Template, style, scripts and data put together into one page.
//!
//! Whatever came from a file (names, comments, units) is text: the template escapes it, and the data inside the page are
//! JSON with `<`, `>`, `&` and the line separators written as escapes, so that no name can end its element.
//! The page's policy (Content Security Policy Level 3, W3C) allows its own style and scripts by their SHA-256 and nothing
//! else: no network, no picture, no form, no other code.

use crate::quantity::rounding::percent;
use crate::report::{Report, ReportError};
use base64::prelude::{BASE64_STANDARD, Engine};
use minijinja::{AutoEscape, Environment, context};
use serde::Serialize;
use sha2::{Digest, Sha256};

const TEMPLATE: &str = include_str!("template.html");
const SHARED_STYLE: &str = include_str!("page.css");
const LIBRARY_STYLE: &str = include_str!("vendor/uPlot.min.css");
const LIBRARY: &str = include_str!("vendor/uPlot.iife.min.js");
const LIBRARY_LICENCE: &str = include_str!("vendor/LICENSE");
/// Numbers, charts and captures, in the order in which they build on each other; the page of a watched folder draws with them too.
const SHARED_SCRIPTS: [&str; 3] = [
    include_str!("units.js"),
    include_str!("chart.js"),
    include_str!("capture.js"),
];
const OWN_SCRIPTS: [&str; 3] = [
    include_str!("motor.js"),
    include_str!("operating.js"),
    include_str!("page.js"),
];

/// What the scripts draw from.
#[derive(Serialize)]
struct Pictures<'a> {
    captures: &'a [crate::report::context::CaptureView],
    ripple: &'a [crate::report::context::RippleView],
    motion: &'a [crate::report::context::MotionView],
    shaft: &'a [crate::report::context::MotionView],
    tables: &'a [crate::report::context::TableView],
    heat: &'a Option<crate::report::context::HeatSection>,
    operating: Option<crate::report::operating::OperatingTable>,
    units: &'a std::collections::BTreeMap<&'static str, (&'static str, &'static str, f64)>,
    level: f64,
}

/// The page as HTML.
///
/// # Errors
/// [`ReportError::Template`] or [`ReportError::Json`], which no report of finite size should meet.
pub fn render(report: &Report) -> Result<String, ReportError> {
    let (style, library, script) = (style(), library(), script(&OWN_SCRIPTS));
    let data = serde_json::to_string(&Pictures {
        captures: &report.captures,
        ripple: &report.ripple,
        motion: &report.motion,
        shaft: &report.shaft,
        tables: &report.tables,
        heat: &report.heat,
        operating: report
            .operating
            .as_ref()
            .and_then(|operating| operating.table(report.level)),
        units: &report.provenance.units,
        level: report.level,
    })?;
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("page", TEMPLATE)?;
    Ok(environment.get_template("page")?.render(context! {
        report => report,
        percent => format!("{}", percent(report.level)),
        policy => policy(&style, &[&library, &script]),
        style => style,
        library => library,
        script => script,
        data => inside_script(&data),
    })?)
}

/// Style of the library and of all pages.
pub(crate) fn style() -> String {
    format!("{LIBRARY_STYLE}\n{SHARED_STYLE}")
}

/// The plotting library with its licence.
pub(crate) fn library() -> String {
    format!("/*\n{LIBRARY_LICENCE}\n*/\n{LIBRARY}")
}

/// The script of a page: what all share, then its own parts.
pub(crate) fn script(own: &[&str]) -> String {
    let parts = [&SHARED_SCRIPTS, own].concat().join("\n");
    format!("\"use strict\";\n(() => {{\n{parts}\n}})();\n")
}

/// JSON that may stand inside a script element: every character that HTML or JavaScript could read as more than a part of a
/// string is written as an escape. Outside strings none of them occurs in JSON.
pub fn inside_script(json: &str) -> String {
    let mut out = String::with_capacity(json.len() + json.len() / 64);
    for letter in json.chars() {
        match letter {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => {
                out.push_str(&format!("\\u{:04x}", u32::from(letter)));
            }
            other => out.push(other),
        }
    }
    out
}

/// The policy of a page with one style and these scripts; without any, no script may run.
pub(crate) fn policy(style: &str, scripts: &[&str]) -> String {
    let hash = |text: &str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    let mut scripts: Vec<String> = scripts.iter().map(|text| hash(text)).collect();
    if scripts.is_empty() {
        scripts.push("'none'".into());
    }
    format!(
        "default-src 'none'; script-src {}; style-src {}; base-uri 'none'; form-action 'none'",
        scripts.join(" "),
        hash(style)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_the_hash_is_the_one_of_the_standards_example() {
        // Content Security Policy Level 2 (W3C), section 7.17.1: alert('Hello, world.');
        assert!(
            policy("", &["alert('Hello, world.');"])
                .contains("'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='")
        );
    }

    #[test]
    fn json_inside_a_script_keeps_its_meaning_and_none_of_its_teeth() {
        let name = "</script><!--<script>&\u{2028}\u{2029}\"'";
        let json = serde_json::to_string(name).expect("a string");
        let safe = inside_script(&json);
        assert!(
            !safe.contains(['<', '>', '&', '\u{2028}', '\u{2029}']),
            "{safe}"
        );
        assert_eq!(serde_json::from_str::<String>(&safe).expect("JSON"), name);
    }

    #[test]
    fn scripts_and_style_hold_nothing_that_ends_their_element_or_changes_under_a_parser() {
        for text in SHARED_SCRIPTS
            .iter()
            .chain(&OWN_SCRIPTS)
            .chain([&LIBRARY, &LIBRARY_LICENCE])
        {
            assert!(
                !text.to_lowercase().contains("</script")
                    && !text.contains("<!--")
                    && !text.contains('\r')
            );
        }
        for text in [SHARED_STYLE, LIBRARY_STYLE] {
            assert!(!text.to_lowercase().contains("</style") && !text.contains('\r'));
            assert!(
                !text.contains("url(") && !text.contains("@import"),
                "the style would ask the network"
            );
        }
        assert!(!LIBRARY_LICENCE.contains("*/"));
    }
}
