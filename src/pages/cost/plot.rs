//! A small chart of points over a line, with whiskers where the points have an interval, and one place marked.
//!
//! Invariants: all places are whole millionths (or counts), so that no money is a float; the axis of amounts begins at 0. The
//! colours are stand-ins that the style sheet fills in. Deliberately absent: what the numbers are.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::base::Error;
use crate::pages::horizon::{DIM, DrawingError, HUE, INK, WARN, dressed};

/// The drawing's size.
const SIZE: (u32, u32) = (400, 190);
/// About how many names an axis has.
const NAMES_MOST: i64 = 5;

/// A name on an axis, at its place.
pub(super) type Named = (i64, String);

/// What is drawn.
#[derive(Debug, Clone, Default)]
pub(super) struct Chart {
    /// Words for whoever does not see it: plain, without quotes or angles.
    pub(super) label: String,
    /// The first and last place across.
    pub(super) across: (i64, i64),
    /// Names across.
    pub(super) names: Vec<Named>,
    /// What the amounts are, with their unit.
    pub(super) unit: String,
    /// Names of amounts.
    pub(super) amounts: Vec<Named>,
    /// Lines, each without a gap.
    pub(super) lines: Vec<Vec<(i64, i64)>>,
    /// Whiskers: place, low, high.
    pub(super) whiskers: Vec<(i64, i64, i64)>,
    /// A place across with its words.
    pub(super) mark: Option<Named>,
}

/// Round places from 0 up to `most`: 1, 2 or 5 times a power of ten apart, about five of them.
pub(super) fn round_places(most: i64) -> Vec<i64> {
    let mut steps = (0..=18).flat_map(|power| [1, 2, 5].map(|times| times * 10_i64.pow(power)));
    let few = |step: &i64| most / step <= NAMES_MOST;
    let step = steps.find(few).unwrap_or(i64::MAX);
    (0..=most / step).map(|at| at * step).collect()
}

/// Draws a chart.
///
/// # Errors
/// [`Error::Internal`] when it cannot be drawn.
pub(super) fn drawn(chart: &Chart) -> Result<String, Error> {
    let drawing = draw(chart).map_err(|error| Error::internal(error.to_string()))?;
    Ok(dressed(&drawing, "chart", SIZE, &chart.label))
}

fn draw(chart: &Chart) -> Result<String, DrawingError> {
    let points = || chart.lines.iter().flatten();
    let highest = points().map(|(_, amount)| *amount);
    let highest = highest
        .chain(chart.whiskers.iter().map(|(_, _, high)| *high))
        .max();
    let top = highest.unwrap_or(1).max(1);
    let top = top.saturating_add(top / 8).saturating_add(1);
    let (first, last) = chart.across;
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, SIZE).into_drawing_area();
        let mut plot = ChartBuilder::on(&root)
            .margin_left(58)
            .margin_right(16)
            .margin_top(22)
            .margin_bottom(24)
            .build_cartesian_2d(first..last, 0..top)?;
        let small = |color: &RGBColor, across: HPos, up: VPos| {
            let style = ("sans-serif", 11).into_font().color(color);
            style.pos(Pos::new(across, up))
        };
        for (amount, name) in &chart.amounts {
            plot.draw_series([PathElement::new(
                [(first, *amount), (last, *amount)],
                DIM.mix(0.4).stroke_width(1),
            )])?;
            let style = small(&DIM, HPos::Right, VPos::Center);
            plot.draw_series([
                EmptyElement::at((first, *amount)) + Text::new(name.clone(), (-6, 0), style)
            ])?;
        }
        let style = small(&DIM, HPos::Left, VPos::Bottom);
        plot.draw_series([
            EmptyElement::at((first, top)) + Text::new(chart.unit.clone(), (-52, -6), style)
        ])?;
        plot.draw_series([PathElement::new(
            [(first, 0), (last, 0)],
            INK.stroke_width(1),
        )])?;
        for (place, name) in &chart.names {
            let style = small(&DIM, HPos::Center, VPos::Top);
            plot.draw_series([EmptyElement::at((*place, 0))
                + PathElement::new([(0, 0), (0, 4)], INK.stroke_width(1))
                + Text::new(name.clone(), (0, 8), style)])?;
        }
        if let Some((place, words)) = &chart.mark {
            let left = *place > first.midpoint(last);
            let (shift, hold) = if left {
                (-5, HPos::Right)
            } else {
                (5, HPos::Left)
            };
            plot.draw_series([PathElement::new(
                [(*place, 0), (*place, top)],
                WARN.stroke_width(2),
            )])?;
            let style = small(&WARN, hold, VPos::Top);
            plot.draw_series([
                EmptyElement::at((*place, top)) + Text::new(words.clone(), (shift, 0), style)
            ])?;
        }
        for line in &chart.lines {
            let style = HUE.stroke_width(2);
            plot.draw_series(LineSeries::new(line.iter().copied(), style))?;
        }
        for (place, low, high) in &chart.whiskers {
            let end = |amount: i64| {
                EmptyElement::at((*place, amount))
                    + PathElement::new([(-5, 0), (5, 0)], INK.stroke_width(2))
            };
            plot.draw_series([PathElement::new(
                [(*place, *low), (*place, *high)],
                INK.stroke_width(2),
            )])?;
            plot.draw_series([end(*low), end(*high)])?;
        }
        plot.draw_series(
            points().map(|(place, amount)| Circle::new((*place, *amount), 4, HUE.filled())),
        )?;
        root.present()?;
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_has_round_names_and_not_many() {
        assert_eq!(round_places(0), [0]);
        assert_eq!(round_places(5), [0, 1, 2, 3, 4, 5]);
        assert_eq!(round_places(7), [0, 2, 4, 6]);
        assert_eq!(round_places(1_830_000), [0, 500_000, 1_000_000, 1_500_000]);
        for most in [1, 9, 99, 12_345, i64::MAX] {
            let places = round_places(most);
            assert!(places.len() <= 6 && *places.last().unwrap() <= most);
        }
    }

    #[test]
    fn a_chart_has_its_points_whiskers_and_words_in_the_colours_of_the_style_sheet() {
        let chart = Chart {
            label: "Cost of one good chip".to_owned(),
            across: (0, 4),
            names: vec![(1, "Mar 2026".to_owned())],
            unit: "EUR".to_owned(),
            amounts: vec![(1_000_000, "1.00".to_owned())],
            lines: vec![vec![(1, 900_000), (3, 1_000_000)]],
            whiskers: vec![(1, 800_000, 1_100_000)],
            mark: Some((2, "now".to_owned())),
        };
        let drawing = drawn(&chart).unwrap();
        assert!(drawing.starts_with("<svg class=\"chart\" viewBox=\"0 0 400 190\" role=\"img\" aria-label=\"Cost of one good chip\">"));
        assert_eq!(drawing.matches("<circle").count(), 2);
        for word in [
            "Mar 2026",
            "1.00",
            "EUR",
            "now",
            "var(--warn)",
            "currentColor",
        ] {
            assert!(drawing.contains(word), "{word}: {drawing}");
        }
        assert!(!drawing.contains("#0100") && !drawing.contains("http"));
    }
}
