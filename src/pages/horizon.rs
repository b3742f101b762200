//! The horizon of a material or kit: the sixty days to come, with bookings, arrivals, expiries, the reorder point, the last day to
//! order, and the day it is dry.
//!
//! Invariants: the line is the advice's own walk; the same numbers stand in a table behind the drawing. The drawing's colours
//! are names that the style sheet fills in, so that it is readable in light and in dark. Deliberately absent: a second
//! opinion on any of it.

use chrono::{Days, NaiveDate};
use plotters::prelude::*;

use super::words::{amount, day};
use crate::base::{Error, Quantity};
use crate::reorder::judge::Judgement;

/// How many days are shown.
const DAYS: usize = 60;
/// The drawing's size.
const SIZE: (u32, u32) = (400, 118);
/// Days between two rows of the table and two names of days.
const STEP: usize = 14;

/// Stand-ins for the colours of the style sheet, which the drawing library cannot name.
pub(super) const HUE: RGBColor = RGBColor(1, 0, 1);
pub(super) const INK: RGBColor = RGBColor(1, 0, 2);
pub(super) const DIM: RGBColor = RGBColor(1, 0, 3);
pub(super) const WARN: RGBColor = RGBColor(1, 0, 4);
const GOOD: RGBColor = RGBColor(1, 0, 5);
/// A line of many short ones would be thirty times as long to send.
const DASHED: RGBColor = RGBColor(1, 0, 6);
const NAMES: [(&str, &str); 6] = [
    ("#010001", "currentColor"),
    ("#010002", "var(--ink)"),
    ("#010003", "var(--dim)"),
    ("#010004", "var(--warn)"),
    ("#010005", "var(--ok)"),
    ("#010006", "var(--dim)\" stroke-dasharray=\"2 4"),
];

/// A horizon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Horizon {
    /// The drawing, as SVG.
    pub(super) drawing: String,
    /// Its numbers: the day and what is left in its evening.
    pub(super) rows: Vec<(String, String)>,
}

/// Draws the horizon of a material or kit.
///
/// # Errors
/// [`Error::Internal`] when it cannot be drawn.
pub(super) fn horizon(judgement: &Judgement, today: NaiveDate) -> Result<Horizon, Error> {
    let (advice, facts) = (&judgement.advice, &judgement.facts);
    let unit = judgement.view.unit.as_str();
    let ahead = |on: NaiveDate| i32::try_from((on - today).num_days()).unwrap_or(i32::MAX);
    let shown = |on: NaiveDate| ahead(on) >= 0 && ahead(on) <= DAYS as i32;
    let walk: Vec<(i32, f64)> = advice
        .days
        .iter()
        .take(DAYS + 1)
        .map(|walked| (ahead(walked.on), walked.stock_micro as f64))
        .collect();
    let marks = Marks {
        bookings: days(
            facts.bookings.iter().map(|booking| booking.on),
            shown,
            ahead,
        ),
        arrivals: days(
            facts.arrivals.iter().map(|arrival| arrival.on),
            shown,
            ahead,
        ),
        expiries: days(advice.expiring.iter().map(|lost| lost.on), shown, ahead),
        order_by: advice.order_by.filter(|on| shown(*on)).map(ahead),
        dry: advice.runs_out_on.filter(|on| shown(*on)).map(ahead),
        reorder_point: advice.reorder_point_micro as f64,
    };
    let drawing = draw(&walk, &marks, today).map_err(|e| Error::internal(e.to_string()))?;
    let label = match advice.runs_out_on {
        Some(on) => format!(
            "Stock of the next 60 days; it runs out on {}",
            day(on, today)
        ),
        None => "Stock of the next 60 days".to_owned(),
    };
    let rows = advice
        .days
        .iter()
        .take(DAYS + 1)
        .step_by(STEP)
        .map(|walked| {
            let left = Quantity::from_micro(walked.stock_micro);
            (day(walked.on, today), amount(left, unit))
        });
    Ok(Horizon {
        drawing: dressed(&drawing, "horizon", SIZE, &label),
        rows: rows.collect(),
    })
}

fn days(
    on: impl Iterator<Item = NaiveDate>,
    shown: impl Fn(NaiveDate) -> bool,
    ahead: impl Fn(NaiveDate) -> i32,
) -> Vec<i32> {
    let mut found: Vec<i32> = on.filter(|on| shown(*on)).map(ahead).collect();
    found.dedup();
    found
}

/// What is marked on a horizon, in days ahead.
struct Marks {
    bookings: Vec<i32>,
    arrivals: Vec<i32>,
    expiries: Vec<i32>,
    order_by: Option<i32>,
    dry: Option<i32>,
    reorder_point: f64,
}

pub(super) type DrawingError = DrawingAreaErrorKind<std::io::Error>;

fn draw(walk: &[(i32, f64)], marks: &Marks, today: NaiveDate) -> Result<String, DrawingError> {
    let most = walk.iter().map(|(_, stock)| *stock).fold(0.0, f64::max);
    let top = most.max(marks.reorder_point).max(1.0) * 1.12;
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, SIZE).into_drawing_area();
        let mut chart = ChartBuilder::on(&root)
            .margin_left(14)
            .margin_right(14)
            .margin_top(6)
            .margin_bottom(22)
            .build_cartesian_2d(0..DAYS as i32, 0.0..top)?;
        let line = walk.iter().copied();
        chart.draw_series(AreaSeries::new(line.clone(), 0.0, HUE.mix(0.16)))?;
        chart.draw_series(LineSeries::new(line, HUE.stroke_width(2)))?;
        let level = marks.reorder_point;
        chart.draw_series([PathElement::new(
            [(0, level), (DAYS as i32, level)],
            DASHED.stroke_width(1),
        )])?;
        chart.draw_series([PathElement::new(
            [(0, 0.0), (DAYS as i32, 0.0)],
            INK.stroke_width(1),
        )])?;
        let small = |color: &RGBColor| ("sans-serif", 11).into_font().color(color);
        let bookings = marks.bookings.iter().map(|at| {
            EmptyElement::at((*at, 0.0)) + PathElement::new([(0, 0), (0, 6)], INK.stroke_width(2))
        });
        chart.draw_series(bookings)?;
        let arrivals = marks
            .arrivals
            .iter()
            .map(|at| EmptyElement::at((*at, 0.0)) + Circle::new((0, 0), 5, GOOD.stroke_width(2)));
        chart.draw_series(arrivals)?;
        let expiries = marks.expiries.iter().map(|at| {
            EmptyElement::at((*at, 0.0))
                + Polygon::new([(0, -9), (4, -2), (0, 2), (-4, -2)], DIM.filled())
        });
        chart.draw_series(expiries)?;
        if let Some(at) = marks.order_by {
            chart.draw_series([PathElement::new(
                [(at, 0.0), (at, top)],
                WARN.stroke_width(2),
            )])?;
            chart.draw_series([EmptyElement::at((at, top))
                + Polygon::new([(0, 0), (12, 5), (0, 10)], WARN.filled())
                + Text::new("order by", (15, 0), small(&WARN))])?;
        }
        if let Some(at) = marks.dry {
            chart.draw_series([EmptyElement::at((at, 0.0))
                + PathElement::new([(-5, -5), (5, 5)], WARN.stroke_width(2))
                + PathElement::new([(5, -5), (-5, 5)], WARN.stroke_width(2))])?;
        }
        let names = (0..DAYS).step_by(STEP).map(|at| {
            let name = match at {
                0 => "today".to_owned(),
                ahead => (today + Days::new(ahead as u64))
                    .format("%-d %b")
                    .to_string(),
            };
            EmptyElement::at((at as i32, 0.0)) + Text::new(name, (-8, 8), small(&DIM))
        });
        chart.draw_series(names)?;
        root.present()?;
    }
    Ok(text)
}

/// The drawing with the style sheet's colours, its class, and words for whoever does not see it; `label` is plain words without
/// quotes or angles.
pub(super) fn dressed(
    drawing: &str,
    class: &str,
    (width, height): (u32, u32),
    label: &str,
) -> String {
    let (_, inner) = drawing.split_once('>').unwrap_or_default();
    let mut text = format!(
        "<svg class=\"{class}\" viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{label}\">{inner}"
    );
    // What is said of every line and means nothing.
    text = text.replace(" opacity=\"1\"", "");
    for (stand_in, name) in NAMES {
        text = text.replace(stand_in, name);
    }
    text
}
