//! Order lines as the forecast reads them: what is still to come and when, and how long past orders took.
//!
//! Invariants: a line that was received or cancelled is not on order; an order's lines of one day count once as a lead
//! time. Absent: prices; who writes orders (purchasing).

use chrono::{Days, NaiveDate};

/// How far a line has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineState {
    /// It is still to come.
    Ordered {
        /// When, as the supplier said.
        expected_on: Option<NaiveDate>,
    },
    /// It has arrived.
    Received {
        /// When.
        on: NaiveDate,
    },
    /// It will not come.
    Cancelled,
}

/// One line of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderLine {
    /// The material or kit.
    pub item_id: i64,
    /// The order's number.
    pub order: String,
    /// The line's number within it.
    pub line_no: String,
    /// The supplier.
    pub supplier_id: i64,
    /// When it was ordered.
    pub ordered_on: NaiveDate,
    /// How many packs or kits.
    pub packs: i64,
    /// What one pack holds, in millionths of the unit; none for a kit, whose content the catalogue states.
    pub pack_quantity_micro: Option<i64>,
    /// How far it has come.
    pub state: LineState,
}

impl OrderLine {
    /// The line's name in a warning: order and line number.
    ///
    /// ```
    /// # use heeltap::reorder::order_lines::*;
    /// # let on = chrono::NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
    /// let line = OrderLine {
    ///     item_id: 1, order: "PO-7".into(), line_no: "2".into(), supplier_id: 1, ordered_on: on, packs: 3,
    ///     pack_quantity_micro: Some(500_000), state: LineState::Cancelled,
    /// };
    /// assert_eq!(line.name(), "PO-7/2");
    /// assert_eq!(line.quantity_micro(None), 1_500_000);
    /// ```
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}/{}", self.order, self.line_no)
    }

    /// What the line brings, in millionths of the unit; `kit_content_micro` is what one kit holds of the material.
    #[must_use]
    pub fn quantity_micro(&self, kit_content_micro: Option<i64>) -> i64 {
        let content = kit_content_micro.or(self.pack_quantity_micro).unwrap_or(0);
        self.packs.saturating_mul(content)
    }

    /// When the line is to come, if it still is: as the supplier said, else `lead_time_days` after the order.
    ///
    /// ```
    /// # use heeltap::reorder::order_lines::*;
    /// let day = |d| chrono::NaiveDate::from_ymd_opt(2031, 3, d).unwrap();
    /// let line = OrderLine {
    ///     item_id: 1, order: "PO-7".into(), line_no: "2".into(), supplier_id: 1, ordered_on: day(3), packs: 3,
    ///     pack_quantity_micro: None, state: LineState::Ordered { expected_on: None },
    /// };
    /// assert_eq!(line.due_on(9.2), Some(day(13)));
    /// ```
    #[must_use]
    pub fn due_on(&self, lead_time_days: f64) -> Option<NaiveDate> {
        match self.state {
            LineState::Ordered { expected_on } => expected_on.or_else(|| {
                let days = Days::new(lead_time_days.max(0.0).ceil() as u64);
                Some(
                    self.ordered_on
                        .checked_add_days(days)
                        .unwrap_or(NaiveDate::MAX),
                )
            }),
            LineState::Received { .. } | LineState::Cancelled => None,
        }
    }
}

/// Days from order to arrival of the received ones of `lines`, at the supplier of the latest order among them. An order
/// that came in parts counts once for each day on which something came.
///
/// ```
/// # use heeltap::reorder::order_lines::*;
/// # let day = |d| chrono::NaiveDate::from_ymd_opt(2031, 3, d).unwrap();
/// # let line = |order: &str, supplier_id, ordered, received| OrderLine {
/// #     item_id: 1, order: order.into(), line_no: "1".into(), supplier_id, ordered_on: day(ordered), packs: 1,
/// #     pack_quantity_micro: None, state: LineState::Received { on: day(received) },
/// # };
/// let lines = [line("A", 1, 1, 5), line("B", 2, 2, 12), line("C", 2, 6, 20), line("C", 2, 6, 20)];
/// assert_eq!(past_lead_days(&lines), [10, 14]);
/// ```
#[must_use]
pub fn past_lead_days(lines: &[OrderLine]) -> Vec<u32> {
    let standing = lines
        .iter()
        .filter(|line| line.state != LineState::Cancelled);
    let Some(latest) = standing.max_by_key(|line| line.ordered_on) else {
        return Vec::new();
    };
    let mut seen: Vec<(&str, NaiveDate)> = Vec::new();
    let mut days = Vec::new();
    for line in lines
        .iter()
        .filter(|line| line.supplier_id == latest.supplier_id)
    {
        let LineState::Received { on } = line.state else {
            continue;
        };
        if seen.contains(&(line.order.as_str(), on)) {
            continue;
        }
        seen.push((&line.order, on));
        // A receipt that was entered with a day before its order says nothing of a lead time.
        if let Ok(took) = u32::try_from((on - line.ordered_on).num_days()) {
            days.push(took);
        }
    }
    days
}
