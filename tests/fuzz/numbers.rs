//! Any bytes as a number: a cell of a capture against the standard library's reader, quantities with units there and back.
#![no_main]

mod target;

use rundown::capture::{self, ReadOptions};
use rundown::quantity::units::{self, Quantity};
use std::path::Path;
use target::fuzz_target;

const QUANTITIES: [Quantity; 8] = [
    Quantity::Voltage,
    Quantity::Current,
    Quantity::Resistance,
    Quantity::Inductance,
    Quantity::Torque,
    Quantity::Inertia,
    Quantity::Time,
    Quantity::Temperature,
];

/// A number as it is printed everywhere: digits, at most one point, an exponent.
fn is_plain(text: &str) -> bool {
    let (mantissa, exponent) = match text.split_once(['e', 'E']) {
        Some((m, e)) => (m, Some(e)),
        None => (text, None),
    };
    let mantissa = mantissa.strip_prefix(['+', '-']).unwrap_or(mantissa);
    let digits = mantissa.chars().filter(char::is_ascii_digit).count();
    let exponent_fits = exponent.is_none_or(|e| {
        let e = e.strip_prefix(['+', '-']).unwrap_or(e);
        (1..=3).contains(&e.len()) && e.chars().all(|c| c.is_ascii_digit())
    });
    digits > 0
        && digits + mantissa.matches('.').count() == mantissa.chars().count()
        && mantissa.matches('.').count() < 2
        && exponent_fits
}

fuzz_target!(|bytes| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Some(seconds) = capture::parse_seconds(text) {
        assert!(seconds.is_finite(), "{text:?} gives {seconds}");
    }
    for quantity in QUANTITIES {
        if let Ok((number, unit)) = units::parse(quantity, text) {
            assert!(number.is_finite(), "{text:?} gives {number}");
            let si = unit.to_si(number);
            let back = unit.from_si(si);
            assert!(
                !si.is_finite() || (back - number).abs() <= 1e-9 * number.abs().max(1.0),
                "{number} gives {si} gives {back}"
            );
        }
    }
    if !is_plain(text) || text.len() > 60 {
        return;
    }
    let expected: f64 = text.parse().expect("a plain number");
    if !(expected == 0.0 || (1e-30..1e30).contains(&expected.abs())) {
        return;
    }
    let mut file = String::from("t (s),v\n");
    for k in 0..20 {
        file.push_str(&format!("{k}e-3,{}.25\n", k % 3));
    }
    file.push_str(&format!("20e-3,{text}\n21e-3,1.5\n"));
    let options = ReadOptions {
        chunk_bytes: Some(0),
        ..ReadOptions::default()
    };
    let record =
        capture::read_from(Path::new("f.csv"), file.as_bytes(), &options).expect("a table");
    let found = record
        .channels
        .last()
        .and_then(|c| c.values.get(20))
        .copied();
    assert_eq!(found.map(f64::to_bits), Some(expected.to_bits()), "{text}");
});
