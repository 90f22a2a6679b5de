//! A first bench sheet from what was guessed of a folder of captures, with a comment at every guess.
//!
//! Only the text is made here, from a template; the guesses come from whoever looked at the waveforms.

use super::tables::DraftTable;
use crate::bench::capture::{Role, SpeedSignal};
use crate::bench::channels::rollover_of;
use crate::capture::Channel;
use crate::quantity::units::{self, Quantity};
use minijinja::{Environment, Value, context};

/// A channel as guessed, the same wire in every capture.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct DraftChannel {
    /// Name of the `[channels.NAME]` table.
    pub name: String,
    /// Column names under which the files hold it, in order of first sight.
    pub columns: Vec<String>,
    /// Why it was taken for what it is.
    pub why: String,
    /// A current channel in volts: it must be raw volts across a shunt.
    pub raw_volts: bool,
    /// The channel seems to be the wrong way round.
    pub reversed: bool,
}

/// A capture as guessed.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftCapture {
    /// Name of the capture in the sheet.
    pub name: String,
    /// File name relative to the sheet.
    pub file: String,
    /// Further files of the same event, with the other channels.
    pub further: Vec<String>,
    /// Guessed role.
    pub role: Role,
    /// How sure the role is, 0 to 1.
    pub confidence: f64,
    /// Why it was taken for this role.
    pub why: String,
    /// Columns that are not used; empty where all are.
    pub unused: String,
    /// What is wrong in the file, written as comments.
    pub warnings: Vec<String>,
    /// Name of the voltage channel, where it differs from the first one of the sheet.
    pub voltage_channel: Option<String>,
    /// Name of the current channel, where it differs from the first one of the sheet.
    pub current_channel: Option<String>,
    /// False where the file has no voltage channel.
    pub voltage_recorded: bool,
    /// False where the file has no current channel.
    pub current_recorded: bool,
    /// Whether the current is in raw volts across a shunt, where that differs from its channel.
    pub current_raw_volts: Option<bool>,
}

/// Everything that goes into a first sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// Name of the motor, from the folder.
    pub motor_name: String,
    /// Largest steady voltage seen, as a guess of the supply.
    pub supply_v: Option<(f64, String)>,
    /// Bits of the converter and why.
    pub bits: Option<(u32, String)>,
    /// Voltage channels; the first is the default of the sheet.
    pub voltage: Vec<DraftChannel>,
    /// Current channels; the first is the default of the sheet.
    pub current: Vec<DraftChannel>,
    /// Columns that show how the shaft turns.
    pub shaft: Vec<DraftShaft>,
    /// Captures in the order in which the sheet lists them.
    pub captures: Vec<DraftCapture>,
    /// Files that hold readings or heat records.
    pub tables: Vec<DraftTable>,
    /// Files that were not taken, and why.
    pub left_out: Vec<(String, String)>,
}

/// A column that shows how the shaft turns.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftShaft {
    /// Column name without its unit; also the name of the channel, unless a column holds two kinds of signal.
    pub column: String,
    /// What it records.
    pub signal: SpeedSignal,
    /// Its unit, where that is one of speed or angle, so that nothing has to be filled in.
    pub unit: Option<String>,
    /// It is in volts, so that a speed is that of a tachogenerator.
    pub in_volts: bool,
    /// Count at which its counter seems to begin again.
    pub rollover: Option<f64>,
    /// Why it was taken for that.
    pub why: String,
}

impl DraftShaft {
    /// The draft of one channel.
    pub(super) fn of(column: String, signal: SpeedSignal, channel: &Channel, why: &str) -> Self {
        let quantity = match signal {
            SpeedSignal::Position => Quantity::Angle,
            _ => Quantity::Speed,
        };
        let stated = channel.unit_text.as_deref().unwrap_or_default();
        // A speed in a unit that the import knows comes in rad/s already.
        let known =
            channel.unit.as_deref() == Some("rad/s") || units::find(quantity, stated).is_ok();
        DraftShaft {
            column,
            signal,
            unit: known.then(|| stated.to_owned()),
            in_volts: channel.unit.as_deref() == Some("V"),
            rollover: (signal == SpeedSignal::Position)
                .then(|| rollover_of(&channel.values))
                .flatten(),
            why: why.to_owned(),
        }
    }
}

/// The text of the sheet. It can be read back as it stands, except that a shunt of unknown resistance has to be filled in.
pub fn draft_text(draft: &Draft) -> String {
    // The template is part of the program: that it renders is shown by a test.
    rendered(draft).unwrap_or_else(|error| format!("# {error}"))
}

fn rendered(draft: &Draft) -> Result<String, minijinja::Error> {
    let mut environment = Environment::new();
    environment.set_trim_blocks(true);
    environment.set_lstrip_blocks(true);
    environment.set_keep_trailing_newline(true);
    environment.add_filter("quoted", |text: String| quoted(&text));
    environment.add_filter("line", |text: String| one_line(&text));
    environment.add_filter("one_or_list", |texts: Vec<String>| {
        let all: Vec<String> = texts.iter().map(|text| quoted(text)).collect();
        match all.as_slice() {
            [one] => one.clone(),
            several => format!("[{}]", several.join(", ")),
        }
    });
    let raw_volts = draft.current.iter().any(|c| c.raw_volts);
    let run_down = draft.captures.iter().find(|c| c.role == Role::RunDown);
    let running = run_down.or(draft.captures.first());
    let supply_v = draft.supply_v.as_ref();
    let template = include_str!("bench_sheet.toml.j2");
    environment.template_from_str(template)?.render(context! {
        motor_name => draft.motor_name,
        supply_v => supply_v.map(|(volts, why)| (volts.to_string(), why)),
        bits => draft.bits,
        sensor => if raw_volts { "shunt" } else { "clamp" },
        voltage => draft.voltage,
        current => draft.current,
        shaft => draft.shaft.iter().map(|s| shaft_context(s, &draft.shaft)).collect::<Vec<_>>(),
        captures => draft.captures.iter().map(capture_context).collect::<Vec<_>>(),
        tables => draft.tables,
        questions => questions(draft),
        left_out => draft.left_out,
        running => running.map_or("coast", |c| &c.name),
    })
}

/// What no file can say of this bench, most important first.
pub fn questions(draft: &Draft) -> Vec<&'static str> {
    let shunt = draft.current.iter().any(|c| c.raw_volts);
    let mut out = Vec::new();
    if shunt {
        out.push("resistance and tolerance of the shunt (instruments.shunt)");
    } else {
        out.push("current sensor: clamp with its accuracy, or shunt with resistance and tolerance");
    }
    out.extend([
        "voltage tapped at the motor alone, or across motor and shunt together (spans)",
        "one speed, or the count of commutator segments and poles",
        "winding and room temperature at the beginning of each capture",
        "supply voltage as it was set, and its current limit",
        "accuracies of oscilloscope and probe (data sheet)",
        "ohmmeter readings over several rotor positions, with the leads",
        "kind of brushes and magnets",
    ]);
    for table in &draft.tables {
        let known = |fill: &&str| !out.contains(fill);
        out.extend(table.fill_in.filter(known));
    }
    out
}

fn capture_context(capture: &DraftCapture) -> Value {
    let DraftCapture {
        voltage_channel: voltage,
        current_channel: current,
        ..
    } = capture;
    let mut files = vec![&capture.file];
    files.extend(&capture.further);
    context! {
        name => capture.name,
        files,
        why => capture.why,
        role => capture.role.name(),
        channels => [
            ("voltage", voltage, capture.voltage_recorded),
            ("current", current, capture.current_recorded),
        ],
        current_raw_volts => capture.current_raw_volts,
        unused => capture.unused,
        warnings => capture.warnings,
    }
}

/// The channel's keys; as a comment where the person has to fill in a number.
fn shaft_context(shaft: &DraftShaft, all: &[DraftShaft]) -> Value {
    let twice = all.iter().filter(|s| s.column == shaft.column).count() > 1;
    let (mark, keys) = match (shaft.signal, &shaft.unit) {
        (SpeedSignal::Speed, Some(_)) => (
            "",
            "gain = { limit_percent = 1 }            # assumed".to_owned(),
        ),
        (SpeedSignal::Speed, None) if shaft.in_volts => (
            "# ",
            "volts_per_speed = { v_per_krpm = 1, limit_percent = 1 }".to_owned(),
        ),
        (SpeedSignal::Speed, None) => ("# ", "unit = \"rpm\"".to_owned()),
        (SpeedSignal::Position, Some(unit)) => ("", format!("unit = \"{unit}\"")),
        (SpeedSignal::Position, None) => ("# ", "counts_per_turn = 2000".to_owned()),
        (SpeedSignal::Pulses, _) => ("# ", "pulses_per_turn = 1".to_owned()),
    };
    context! {
        mark,
        keys,
        why => shaft.why,
        column => shaft.column,
        name => match (shaft.signal, twice) {
            (signal, true) => format!("{} {}", shaft.column, signal.name()),
            _ => shaft.column.clone(),
        },
        measures => shaft.signal.name(),
        rollover => shaft.rollover.map(|count| count.to_string()),
    }
}

/// A comment must not break its line, or its rest would be read as keys.
fn one_line(text: &str) -> String {
    text.split(|c: char| c.is_control())
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                out.push_str(&format!("\\u{:04X}", c as u32));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_template_renders() {
        let table = |fill_in| DraftTable {
            file: "a.csv".into(),
            text: "[[tables]]\nkind = \"no-load\"\n".into(),
            fill_in,
        };
        let draft = Draft {
            tables: vec![table(None), table(Some("the arm"))],
            ..Draft::default()
        };
        let text = rendered(&draft).unwrap();
        assert!(
            text.contains("\n[[tables]]\nkind = ") && text.contains("\n# [[tables]]\n# kind = ")
        );
        assert!(text.starts_with("# A first bench sheet") && text.ends_with("the arm\n"));
    }

    #[test]
    fn names_from_files_cannot_break_out_of_their_quotes_or_comments() {
        let toml = format!("a = {}", quoted("x\"\nrole = \\ \u{7f}é"));
        let value: toml::Table = toml.parse().unwrap();
        assert_eq!(value["a"].as_str(), Some("x\"\nrole = \\ \u{7f}é"));
        assert_eq!(one_line("a\nrole = 1\r\n"), "a role = 1");
    }
}
