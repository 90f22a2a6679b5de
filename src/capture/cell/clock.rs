//! Clock times and dates as exports write them: `12:34:10.5`, `2024-01-02T03:04:05.000Z`, `20240102T030405.000`, `02.01.2024 03:04:05,000`.
//!
//! A record counts its time from its first row, so a time zone and the order of day and month do not matter but at midnight.

/// Seconds of a day.
pub const DAY_S: f64 = 86_400.0;

/// A clock time, perhaps with its date.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// Days since a day that is the same for all dates; `None` where no date is written.
    pub day: Option<i64>,
    /// Seconds since midnight.
    pub second: f64,
    /// Digits after the decimal mark of the seconds.
    pub decimals: i32,
}

/// Reads a clock time with or without its date; `None` for anything else.
pub fn parse(cell: &[u8]) -> Option<Clock> {
    let text = std::str::from_utf8(cell).ok().filter(|t| t.len() <= 48)?;
    let text = text.trim().trim_matches(['"', '\'']).trim();
    // `Fri Mar 14 09:26:53 2025`: the year of asctime (ISO/IEC 9899, 7.29.3.1) stands last.
    let usual = year_last(text).or_else(|| with_colons(text));
    let text = usual.as_deref().unwrap_or(text);
    let at = text.find(':')?;
    let digits = text[..at]
        .bytes()
        .rev()
        .take_while(u8::is_ascii_digit)
        .count();
    let begin = at - digits;
    let (before, clock) = text.split_at(begin);
    let before = before
        .strip_suffix(['T', 't', '_'])
        .unwrap_or(before)
        .trim_end();
    let before = before.trim_end_matches([',', ';']);
    let day = match before.is_empty() {
        true => None,
        false => Some(date(before)?),
    };
    let (clock, afternoon) = without_zone(clock)?;
    let (second, decimals) = clock_seconds(clock, afternoon)?;
    Some(Clock {
        day,
        second,
        decimals,
    })
}

/// The text with its year before the clock, where a year of four digits stands behind it.
fn year_last(text: &str) -> Option<String> {
    let (before, year) = text.rsplit_once(' ')?;
    let (date, clock) = before.rsplit_once(' ')?;
    let is_year = year.len() == 4 && year.bytes().all(|b| b.is_ascii_digit());
    (is_year && clock.contains(':')).then(|| format!("{date} {year} {clock}"))
}

/// `20240102T030405.000`, the basic format of ISO 8601, with the colons of the extended one.
fn with_colons(text: &str) -> Option<String> {
    let (date, clock) = text.split_once(['T', 't'])?;
    let (clock, rest) = clock.split_at_checked(6)?;
    let are_digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    (date.len() == 8 && are_digits(date) && are_digits(clock)).then(|| {
        let (hour, minute, second) = (&clock[..2], &clock[2..4], &clock[4..]);
        format!("{date} {hour}:{minute}:{second}{rest}")
    })
}

/// Takes off a zone (`Z`, `+01:00`) and gives whether `AM` (false) or `PM` (true) is written.
fn without_zone(clock: &str) -> Option<(&str, Option<bool>)> {
    let upper = clock.to_ascii_uppercase();
    for (word, afternoon) in [("AM", false), ("PM", true)] {
        if upper.ends_with(word) {
            return Some((clock[..clock.len() - 2].trim_end(), Some(afternoon)));
        }
    }
    let clock = clock.strip_suffix(['Z', 'z']).unwrap_or(clock);
    let zone = clock.rfind(['+', '-']).filter(|&at| at > 0);
    Some((zone.map_or(clock, |at| clock[..at].trim_end()), None))
}

/// `h:m:s.fff`, `h:m:s:fff`, `m:s.fff`, `h:m`.
fn clock_seconds(clock: &str, afternoon: Option<bool>) -> Option<(f64, i32)> {
    let parts: Vec<&str> = clock.split(':').collect();
    let whole = |text: &str| {
        let digits = (1..=3).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
        digits
            .then(|| text.parse::<u32>().ok())
            .flatten()
            .map(f64::from)
    };
    let fraction = |text: &str| -> Option<(f64, i32)> {
        let (whole, part) = text.split_once(['.', ',']).unwrap_or((text, ""));
        let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
        if !(1..=2).contains(&whole.len()) || !digits(whole) || !digits(part) {
            return None;
        }
        Some((format!("{whole}.{part}0").parse().ok()?, part.len() as i32))
    };
    let (hour, minute, (second, decimals)) = match parts.as_slice() {
        [h, m, s, ms] if ms.len() == 3 && whole(s).is_some() => {
            (whole(h)?, whole(m)?, fraction(&format!("{s}.{ms}"))?)
        }
        [h, m, s] => (whole(h)?, whole(m)?, fraction(s)?),
        [m, s] if s.contains(['.', ',']) => (0.0, whole(m)?, fraction(s)?),
        [h, m] if m.len() == 2 => (whole(h)?, whole(m)?, (0.0, 0)),
        _ => return None,
    };
    if minute >= 60.0 && parts.len() != 2 || second >= 61.0 {
        return None;
    }
    let hour = match afternoon {
        Some(_) if !(1.0..=12.0).contains(&hour) => return None,
        Some(afternoon) => hour % 12.0 + if afternoon { 12.0 } else { 0.0 },
        None => hour,
    };
    Some((hour * 3600.0 + minute * 60.0 + second, decimals))
}

/// Day number of `2024-01-02`, `02.01.2024`, `1/31/2024`, `06-May-2025`, `Jan 2 2024`, perhaps with the name of the weekday before.
fn date(text: &str) -> Option<i64> {
    let parts: Vec<&str> = text
        .split(['-', '.', '/', ' ', ','])
        .filter(|p| !p.is_empty())
        .collect();
    let parts = match parts.as_slice() {
        [weekday, rest @ ..]
            if rest.len() == 3
                && month(weekday).is_none()
                && weekday.chars().all(char::is_alphabetic) =>
        {
            rest
        }
        all => all,
    };
    // `20250314`.
    if let [all] = parts
        && all.len() == 8
        && all.bytes().all(|b| b.is_ascii_digit())
    {
        return date(&format!("{}-{}-{}", &all[..4], &all[4..6], &all[6..]));
    }
    let &[a, b, c] = parts else {
        return None;
    };
    let number = |text: &str| -> Option<i64> {
        let digits = text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| text.parse().ok()).flatten()
    };
    let (year, month, day) = if let Some(month) = month(a) {
        (number(c)?, month, number(b)?)
    } else if let Some(month) = month(b) {
        match a.len() {
            4 => (number(a)?, month, number(c)?),
            _ => (number(c)?, month, number(a)?),
        }
    } else {
        let (a_number, b_number, c_number) = (number(a)?, number(b)?, number(c)?);
        match (a.len(), text.contains('/')) {
            (4, _) => (a_number, b_number, c_number),
            // With strokes the month comes first, where it can.
            (_, true) if a_number <= 12 => (c_number, a_number, b_number),
            _ => (c_number, b_number, a_number),
        }
    };
    let valid = (1..=12).contains(&month) && (1..=31).contains(&day) && (0..=9999).contains(&year);
    valid.then(|| days(year, month, day))
}

fn month(text: &str) -> Option<i64> {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let short = text.to_lowercase();
    let short = short.get(..3)?;
    let known = text.chars().all(char::is_alphabetic);
    let at = MONTHS.iter().position(|m| *m == short)?;
    known.then_some(at as i64 + 1)
}

/// Days of a date in the Gregorian calendar from a fixed day: whole years with their leap days, months of 30.6 days counted from
/// March (Meeus, Astronomical Algorithms, 2nd ed., chapter 7).
fn days(year: i64, month: i64, day: i64) -> i64 {
    let (year, month) = if month <= 2 {
        (year - 1, month + 12)
    } else {
        (year, month)
    };
    let leap = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    365 * year + leap + (306 * (month + 1)).div_euclid(10) + day
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_and_dates_in_common_forms() {
        for (text, has_date, second, decimals) in [
            ("12:34:10.500", false, 45250.5, 3),
            ("12:34:10:250", false, 45250.25, 3),
            ("02:10.5", false, 130.5, 1),
            ("2024-01-02T03:04:05.000Z", true, 11045.0, 3),
            ("2024-01-02 03:04:05,25+01:00", true, 11045.25, 2),
            ("02.01.2024 03:04:05,000", true, 11045.0, 3),
            ("1/31/2024 3:04:05 PM", true, 54245.0, 0),
            ("06-May-2025 17:25:05", true, 62705.0, 0),
            ("20250314 09:26:53.5", true, 34013.5, 1),
            ("Fri Mar 14 09:26:53 2025", true, 34013.0, 0),
            ("20260314T101530.250", true, 36930.25, 3),
            ("20260314T101530Z", true, 36930.0, 0),
            ("20260314T101530,5+0100", true, 36930.5, 1),
        ] {
            let clock = parse(text.as_bytes()).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(
                (clock.day.is_some(), clock.second, clock.decimals),
                (has_date, second, decimals),
                "{text}"
            );
        }
        for text in [
            "10:1",
            "CH1:2",
            "a:b:c",
            "12:75:10",
            "1.5",
            "x 12:00:00",
            "20260314T1015",
            "20260314T1015305",
            "13:00:00 PM",
        ] {
            assert_eq!(parse(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn the_next_day_is_one_day_later() {
        let day = |text: &str| date(text).unwrap_or_else(|| panic!("{text}"));
        for (one, next) in [
            ("2024-02-28", "2024-02-29"),
            ("2024-02-29", "2024-03-01"),
            ("31.12.2023", "01.01.2024"),
            ("1900-02-28", "1900-03-01"),
            ("31-Dec-1999", "1/1/2000"),
        ] {
            assert_eq!(day(next) - day(one), 1, "{one}");
        }
    }
}
