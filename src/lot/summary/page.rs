//! The summary of a lot as one HTML page: no script, no network. What came from a file is text; the template escapes it.

use super::Summary;
use super::text;
use crate::lot::LotError;
use crate::quantity::rounding::{Scale, percent, write};
use crate::report::page::policy;
use minijinja::{AutoEscape, Environment, context};

const TEMPLATE: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");

/// The page.
///
/// # Errors
/// [`LotError::Page`], which no summary should meet.
pub fn render(summary: &Summary) -> Result<String, LotError> {
    let parameters: Vec<_> = summary
        .parameters
        .iter()
        .map(|p| {
            let unit = text::unit(p);
            let end = |value: f64| write(value / unit.si, None, &unit.text, Scale::Plain);
            let short = |value: f64| text::deviation(p, value);
            let spread = p.spread.as_ref();
            context! {
                key => p.name.key(),
                name => format!("{} {}", p.name.label(), p.name.symbol()),
                at_25_c => p.at_25_c,
                cells => text::cells(summary, p),
                interval => spread.map(|s| [s.deviation_lower, s.deviation_upper].map(short)),
                drifts => p.drift.as_ref().is_some_and(|d| d.false_discovery_rate <= summary.false_discovery_rate),
                picture => &p.picture,
                bottom => end(p.picture.bottom),
                top => end(p.picture.top),
                observed => spread.map(|s| short(s.observed_deviation)),
                common => spread.map(|s| short(s.common_uncertainty)),
            }
        })
        .collect();
    let outliers: Vec<_> = summary
        .outliers
        .iter()
        .map(|o| context! { motor => o.motor, named => o.named, reasons => text::reasons(summary, o) })
        .collect();
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("page", TEMPLATE)?;
    Ok(environment.get_template("page")?.render(context! {
        summary => summary,
        head => text::head(summary),
        percent => percent(summary.level),
        rate => format!("{:.0}", 100.0 * summary.false_discovery_rate),
        parameters => parameters,
        outliers => outliers,
        policy => policy(STYLE, &[]),
        style => STYLE,
    })?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::motors::{lot, motor};

    #[test]
    fn names_stay_text_and_nothing_may_run_or_be_fetched() {
        let mut gathered = lot(12, 2, |k, p| if k == 5 && p == 0 { 0.5 } else { 0.0 });
        gathered.motors = (0..12)
            .map(|k| match k {
                5 => motor(k, "<script>alert(1)</script>", "x", "stands", ""),
                6 => motor(k, "\"><img src=x>", "x", "failed", "<b>"),
                _ => motor(k, "motor", "x", "stands", ""),
            })
            .reduce(|all, one| all.vstack(&one).unwrap())
            .unwrap();
        let summary = crate::lot::summarise(&gathered, "shelf & co", 0.95).unwrap();
        let page = render(&summary).unwrap();
        assert!(page.contains("&lt;script&gt;alert(1)"), "{page}");
        assert!(!page.contains("<script") && !page.contains("<img") && !page.contains("<b>"));
        assert!(page.contains("script-src &#x27;none&#x27;") || page.contains("script-src 'none'"));
        assert!(!page.contains("http://") && !page.contains("https://"));
        assert!(!STYLE.to_lowercase().contains("</style") && !STYLE.contains("url("));
        assert!(page.contains("class=\"outlier\""));
    }
}
