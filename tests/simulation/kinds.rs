//! The invented materials: how they are used, how they come, what they cost.

/// One kind of material. Quantities in grams.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kind {
    pub(crate) name: &'static str,
    /// Research casts of a week in term; half as many out of term.
    pub(crate) research_per_week: f64,
    /// What a research cast takes, and the standard deviation over it (at most 1).
    pub(crate) research_g: (f64, f64),
    /// Courses that begin in each term.
    pub(crate) courses_per_term: u64,
    /// What a session of a course takes; a course has six, a week apart.
    pub(crate) session_g: f64,
    /// Spills of a week, each a tenth of a research cast's.
    pub(crate) spills_per_week: f64,
    /// Days between two looks at the stock.
    pub(crate) review_days: usize,
    pub(crate) pack_g: f64,
    pub(crate) shelf_life_days: Option<u16>,
    /// What the catalogue says and what is true: mean and standard deviation over it.
    pub(crate) catalogue_lead_days: f64,
    pub(crate) lead_days: (f64, f64),
    pub(crate) order_cost: f64,
    pub(crate) unit_value: f64,
}

/// Used in nearly every research cast.
pub(crate) const SMOOTH: Kind = Kind {
    name: "smooth",
    research_per_week: 8.0,
    research_g: (25.0, 0.5),
    courses_per_term: 2,
    session_g: 60.0,
    spills_per_week: 0.5,
    review_days: 7,
    pack_g: 100.0,
    shelf_life_days: None,
    catalogue_lead_days: 14.0,
    lead_days: (15.0, 0.3),
    order_cost: 20.0,
    unit_value: 1.4,
};

/// Asked for now and then, in very different amounts.
pub(crate) const LUMPY: Kind = Kind {
    name: "lumpy",
    research_per_week: 0.4,
    research_g: (60.0, 0.9),
    courses_per_term: 0,
    spills_per_week: 0.05,
    review_days: 14,
    pack_g: 50.0,
    unit_value: 8.0,
    ..SMOOTH
};

/// Used by courses, which are booked long before.
pub(crate) const COURSES: Kind = Kind {
    name: "courses",
    research_per_week: 1.5,
    research_g: (25.0, 0.5),
    courses_per_term: 6,
    session_g: 80.0,
    spills_per_week: 0.3,
    review_days: 14,
    ..SMOOTH
};

/// Smooth, but it keeps for three months only.
pub(crate) const PERISHABLE: Kind = Kind {
    name: "perishable",
    research_per_week: 5.0,
    shelf_life_days: Some(91),
    ..SMOOTH
};
