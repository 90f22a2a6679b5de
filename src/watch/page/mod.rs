//! The page: the report's style, charts and words, with forms beside them.

use crate::report::page;

const HTML: &str = include_str!("watch.html");
const STYLE: &str = include_str!("watch.css");
const SCRIPTS: [&str; 4] = [
    include_str!("shots.js"),
    include_str!("marks.js"),
    include_str!("forms.js"),
    include_str!("watch.js"),
];
const DRAWINGS: [(&str, &str); 7] = [
    ("start", include_str!("../../../docs/wiring/start.svg")),
    (
        "run_down",
        include_str!("../../../docs/wiring/run_down.svg"),
    ),
    ("brake", include_str!("../../../docs/wiring/brake.svg")),
    (
        "locked_rotor",
        include_str!("../../../docs/wiring/locked_rotor.svg"),
    ),
    (
        "turn_off",
        include_str!("../../../docs/wiring/turn_off.svg"),
    ),
    ("pwm", include_str!("../../../docs/wiring/pwm.svg")),
    ("steady", include_str!("../../../docs/wiring/steady.svg")),
];

/// The page itself. It holds nothing of the folder: all of that comes as data and is shown as text.
pub fn html(read_only: bool) -> String {
    let mode = if read_only { "true" } else { "false" };
    HTML.replace("{{read_only}}", mode)
}

/// Its style.
pub fn style() -> String {
    format!("{}\n{STYLE}", page::style())
}

/// Its script.
pub fn script() -> String {
    page::script(&SCRIPTS)
}

/// A wiring drawing, `start.svg`.
pub fn drawing(name: &str) -> Option<&'static str> {
    let name = name.strip_suffix(".svg")?;
    DRAWINGS
        .iter()
        .find(|(known, _)| *known == name)
        .map(|d| d.1)
}
