//! Check values of the reorder sums, from outside the project, each beside its source in `reorder.json`.
//!
//! Every case of the file is run through the public functions at the tolerance it states; a case of a kind without a check
//! fails, and so does a figure of a case that is neither checked nor named in [`OTHER_CONVENTIONS`].

use std::cell::RefCell;
use std::collections::BTreeSet;

use heeltap::reorder::classify::{Ratio, class_of, classify};
use heeltap::reorder::distribution::Distribution;
use heeltap::reorder::forecast::{
    Alpha, Method, Smoothing, croston, exponential_smoothing, forecast, teunter_syntetos_babai,
};
use heeltap::reorder::lead_time::{LeadTime, LeadTimeBasis, lead_time_demand_sd};
use heeltap::reorder::order_quantity::CostCurve;
use heeltap::reorder::reorder_point::{
    BucketDemand, ProtectionInterval, ServiceTarget, normal_reorder_point,
};
use heeltap::reorder::service::{
    FillRateInputs, fill_rate, newsvendor_normal, newsvendor_poisson, normal_loss, normal_quantile,
    z_for_fill_rate,
};
use heeltap::reorder::still_to_come::StillToCome;
use serde_json::Value;

/// Figures by a convention that is not ours: sample variance, intervals between demands only, another factor.
const OTHER_CONVENTIONS: [&str; 5] = [
    "cv2_sample",
    "category_sample_cv2",
    "mean_interval_incl_first",
    "mean_interval_excl_first",
    "sbj",
];

/// One case of the file, and which of its figures were looked at.
struct Case {
    id: String,
    kind: String,
    inputs: Value,
    expected: Value,
    tolerance: Value,
    seen: RefCell<BTreeSet<String>>,
}

impl Case {
    #[track_caller]
    fn input(&self, name: &str) -> f64 {
        let value = self.inputs[name].as_f64();
        value.unwrap_or_else(|| panic!("{}: no input {name}", self.id))
    }

    fn series(&self) -> Vec<f64> {
        let list = self.inputs["y"].as_array().unwrap();
        list.iter().map(|value| value.as_f64().unwrap()).collect()
    }

    fn series_micro(&self) -> Vec<i64> {
        self.series()
            .iter()
            .map(|&y| y as i64 * 1_000_000)
            .collect()
    }

    fn alpha(&self, name: &str) -> Alpha {
        Alpha::new(self.input(name)).unwrap()
    }

    #[track_caller]
    fn expected(&self, name: &str) -> &Value {
        self.seen.borrow_mut().insert(name.to_owned());
        let value = self.expected.get(name);
        value.unwrap_or_else(|| panic!("{}: no expected {name}", self.id))
    }

    #[track_caller]
    fn near(&self, name: &str, found: f64, expected: f64) {
        let of = |key: &str| self.tolerance.get(key).map(|value| value.as_f64().unwrap());
        let (relative, absolute) = (of("rel"), of("abs"));
        assert!(relative.or(absolute).is_some(), "{}: no tolerance", self.id);
        let within = (relative.unwrap_or(0.0) * expected.abs()).max(absolute.unwrap_or(0.0));
        assert!(
            (found - expected).abs() <= within,
            "{} {name}: found {found}, expected {expected} within {within}",
            self.id
        );
    }

    /// Compares a result with a figure of the case at the tolerance of the case.
    #[track_caller]
    fn check(&self, name: &str, found: f64) {
        let expected = self.expected(name).as_f64().unwrap();
        self.near(name, found, expected);
    }

    #[track_caller]
    fn check_text(&self, name: &str, found: &str) {
        assert_eq!(
            self.expected(name).as_str(),
            Some(found),
            "{} {name}",
            self.id
        );
    }

    /// Compares with a figure that a textbook prints without decimals, where it prints one.
    #[track_caller]
    fn check_printed(&self, name: &str, found: f64) {
        if self.expected.get(name).is_some() {
            assert_eq!(
                self.expected(name).as_f64(),
                Some(found.round()),
                "{} {name}",
                self.id
            );
        }
    }

    fn run(&self) {
        match self.kind.as_str() {
            "inv.eoq" => economic_quantity(self),
            "inv.eoq-pack" => packs(self),
            "inv.rop" => reorder_point(self),
            "inv.rop-given-sigma" => reorder_point_given_sigma(self),
            "inv.loss" => loss(self),
            "inv.fill-rate" => fill(self),
            "inv.z-for-fill" => z_for_fill(self),
            "inv.newsvendor-normal" => buy_normal(self),
            "inv.newsvendor-poisson" => buy_poisson(self),
            "demand.forecast" | "demand.edge" | "demand.forecast-real" => forecasts(self),
            "demand.croston-alpha" => croston_alpha(self),
            "demand.category" => category(self),
            "demand.category-boundary" => category_boundary(self),
            "ltd.iid" | "ltd.bootstrap-iid" | "ltd.random-lead-time" => lead_time_demand(self),
            other => panic!("{}: no check for the kind {other}", self.id),
        }
        for name in self.expected.as_object().unwrap().keys() {
            let other = OTHER_CONVENTIONS.contains(&name.as_str());
            assert!(
                other || self.seen.borrow().contains(name),
                "{}: {name} was not checked",
                self.id
            );
        }
    }
}

fn cases() -> Vec<Case> {
    let file: Value = serde_json::from_str(include_str!("reorder.json")).unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    file["cases"]
        .as_array()
        .unwrap()
        .iter()
        .map(|case| Case {
            id: text(&case["id"]),
            kind: text(&case["kind"]),
            inputs: case["inputs"].clone(),
            expected: case["expected"].clone(),
            tolerance: case["tolerance"].clone(),
            seen: RefCell::default(),
        })
        .collect()
}

/// Runs the cases whose kind begins with `prefix`, of which there must be `count`.
#[track_caller]
fn run(prefix: &str, count: usize) {
    let chosen: Vec<Case> = cases()
        .into_iter()
        .filter(|case| case.kind.starts_with(prefix))
        .collect();
    assert_eq!(chosen.len(), count, "cases of {prefix}");
    chosen.iter().for_each(Case::run);
}

#[test]
fn inventory() {
    run("inv.", 29);
}

#[test]
fn intermittent_demand() {
    run("demand.", 19);
}

#[test]
fn demand_over_a_lead_time() {
    run("ltd.", 8);
}

#[test]
fn every_case_is_run_by_one_of_the_tests() {
    assert_eq!(cases().len(), 29 + 19 + 8);
}

fn cost_curve(case: &Case) -> CostCurve {
    CostCurve::new(
        case.input("annual_demand"),
        case.input("order_cost"),
        case.input("holding_cost_per_unit_year"),
    )
    .unwrap()
}

fn economic_quantity(case: &Case) {
    let curve = cost_curve(case);
    let quantity = curve.economic_quantity();
    case.check("Q", quantity);
    case.check("orders_per_year", case.input("annual_demand") / quantity);
    case.check("ordering_cost", curve.ordering_cost(quantity));
    case.check("holding_cost", curve.holding_cost(quantity));
    let cost = curve.relevant_cost(quantity);
    case.check("total_relevant_cost", cost);
    case.check(
        "cost_ratio_if_Q_doubled",
        curve.relevant_cost(2.0 * quantity) / cost,
    );
    case.check_printed("textbook_Q_rounded", quantity);
}

fn packs(case: &Case) {
    let curve = cost_curve(case);
    let packs = curve.best_packs(case.input("pack_size"));
    assert_eq!(case.expected("packs").as_u64(), Some(packs), "{}", case.id);
    let quantity = packs as f64 * case.input("pack_size");
    case.check("unconstrained_Q", curve.economic_quantity());
    case.check("Q", quantity);
    let cost = curve.relevant_cost(quantity);
    case.check("total_relevant_cost", cost);
    // A small difference of near figures: the tolerance is that of the figures, not of the difference.
    let penalty = cost / curve.relevant_cost(curve.economic_quantity()) - 1.0;
    let expected = case.expected("penalty_rel").as_f64().unwrap();
    assert!((penalty - expected).abs() < 1e-9, "{}: {penalty}", case.id);
}

fn reorder_point(case: &Case) {
    let (mean, sd) = (
        case.input("mean_demand_per_period"),
        case.input("sd_demand_per_period"),
    );
    let (lead, lead_sd) = (
        case.input("mean_lead_time_periods"),
        case.input("sd_lead_time_periods"),
    );
    let level = case.input("cycle_service_level");
    let sigma = lead_time_demand_sd(mean, sd, lead, lead_sd);
    let z = normal_quantile(level).unwrap();
    case.check("sigma_L", sigma);
    case.check("z", z);
    case.check("mean_lead_time_demand", mean * lead);
    case.check("safety_stock", z * sigma);
    case.check("reorder_point", mean * lead + z * sigma);
    case.check_printed("textbook_safety_stock", z * sigma);
    if case.expected.get("reorder_point_with_z_1.65").is_some() {
        case.check("reorder_point_with_z_1.65", mean * lead + 1.65 * sigma);
    }

    // The function of the service, which rounds to a millionth of the unit once.
    let interval = ProtectionInterval {
        lead_time: LeadTime {
            mean_days: lead,
            sd_days: lead_sd,
            orders: 5,
            basis: LeadTimeBasis::PastOrders,
        },
        review_days: 0.0,
        undershoot_days: 0.0,
        to_come: StillToCome::default(),
    };
    let demand = BucketDemand {
        mean_micro: mean * 1e6,
        sd_micro: sd * 1e6,
        bucket_days: 1,
    };
    let target = ServiceTarget::Cycle(Ratio::from_micro((level * 1e6).round() as i64));
    let found = normal_reorder_point(&demand, &interval, &target).unwrap();
    let off =
        |found: i64, name: &str| (found as f64 - case.expected(name).as_f64().unwrap() * 1e6).abs();
    assert!(
        off(found.reorder_point_micro, "reorder_point") <= 1.0,
        "{}",
        case.id
    );
    assert!(
        off(found.safety_stock_micro, "safety_stock") <= 1.0,
        "{}",
        case.id
    );
}

fn reorder_point_given_sigma(case: &Case) {
    let z = normal_quantile(1.0 - case.input("stockout_risk")).unwrap();
    let safety_stock = z * case.input("sd_lead_time_demand");
    case.check("z", z);
    case.check("safety_stock", safety_stock);
    case.check(
        "reorder_point",
        case.input("mean_lead_time_demand") + safety_stock,
    );
}

fn loss(case: &Case) {
    let z = case.input("z");
    case.check("loss", normal_loss(z));
    case.check("loss_of_minus_z", normal_loss(-z));
}

fn fill(case: &Case) {
    let found = fill_rate(&FillRateInputs {
        mean: case.input("mean_lead_time_demand"),
        sd: case.input("sd_lead_time_demand"),
        reorder_point: case.input("reorder_point"),
        order_quantity: case.input("order_quantity"),
    })
    .unwrap();
    case.check("z", found.z);
    case.check("cycle_service_level", found.cycle_service_level);
    case.check("expected_short_per_cycle", found.short_per_cycle);
    case.check("fill_rate_approx", found.approximate);
    case.check("fill_rate_two_sided", found.two_sided);
}

fn z_for_fill(case: &Case) {
    let sd = case.input("sd_lead_time_demand");
    let target = case.input("target_fill_rate");
    let z = z_for_fill_rate(sd, case.input("order_quantity"), target).unwrap();
    case.check("z", z);
    case.check("safety_stock", z * sd);
    case.check(
        "reorder_point",
        case.input("mean_lead_time_demand") + z * sd,
    );
}

fn buy_normal(case: &Case) {
    let (cost, price) = (case.input("unit_cost"), case.input("unit_price"));
    let (margin, loss) = (price - cost, cost - case.input("salvage"));
    let mean = case.input("mean");
    let found = newsvendor_normal(mean, case.input("sd"), margin, loss).unwrap();
    case.check("critical_ratio", found.critical_ratio);
    case.check("z", found.z);
    case.check("Q", found.quantity);
    case.check("expected_lost_sales", found.expected_short);
    case.check("expected_leftover", found.expected_leftover);
    let profit = margin * (mean - found.expected_short) - loss * found.expected_leftover;
    case.check("expected_profit", profit);
}

fn buy_poisson(case: &Case) {
    let found = newsvendor_poisson(
        case.input("poisson_mean"),
        case.input("underage_cost"),
        case.input("overage_cost"),
    )
    .unwrap();
    case.check("critical_ratio", found.critical_ratio);
    assert_eq!(
        case.expected("Q").as_u64(),
        Some(found.quantity),
        "{}",
        case.id
    );
    case.check("cdf_at_Q", found.cdf);
    case.check("expected_cost", found.expected_cost);
}

/// The smoothing constants of a case; the edge case states none, and its answer holds for any.
fn smoothing(case: &Case) -> Smoothing {
    if case.inputs.get("ses_alpha").is_none() {
        return Smoothing::default();
    }
    Smoothing {
        level: case.alpha("ses_alpha"),
        size: case.alpha("croston_alpha"),
        interval: case.alpha("croston_alpha"),
        probability: case.alpha("tsb_alpha_p"),
    }
}

fn forecasts(case: &Case) {
    let series = case.series();
    let by = smoothing(case);
    let size_alpha = case
        .inputs
        .get("tsb_alpha_d")
        .map_or(by.size, |_| case.alpha("tsb_alpha_d"));
    let estimate = croston(&series, by.size, by.interval);
    let tsb = teunter_syntetos_babai(&series, size_alpha, by.probability);
    case.check("croston_classic", estimate.croston);
    case.check("croston_sba", estimate.syntetos_boylan);
    case.check("ses", exponential_smoothing(&series, by.level));
    case.check("tsb", tsb);
    // The method of the service takes the same path as the functions.
    let tsb_by = Smoothing {
        size: size_alpha,
        ..by
    };
    for (method, by, name) in [
        (Method::ExponentialSmoothing, by, "ses"),
        (Method::SyntetosBoylan, by, "croston_sba"),
        (Method::TeunterSyntetosBabai, tsb_by, "tsb"),
    ] {
        case.check(name, forecast(method, &series, &by).unwrap());
    }
    if case.kind == "demand.forecast" {
        let detail = case.expected("detail");
        let near = |name: &str, found: f64| case.near(name, found, detail[name].as_f64().unwrap());
        let demanded: Vec<f64> = series.iter().map(|&y| f64::from(y > 0.0)).collect();
        near("size_smoothed_0.1", estimate.size);
        near("interval_smoothed_0.1", estimate.interval.unwrap());
        near(
            "tsb_probability",
            exponential_smoothing(&demanded, by.probability),
        );
        near("tsb_size", croston(&series, size_alpha, by.interval).size);
    }
    if case.kind == "demand.forecast-real" {
        let found = classify(&case.series_micro()).unwrap();
        case.check("adi", found.mean_interval.as_f64());
        case.check("cv2_population", found.cv_squared.as_f64());
    }
}

fn croston_alpha(case: &Case) {
    let alpha = case.alpha("alpha");
    let found = croston(&case.series(), alpha, alpha);
    case.check("size", found.size);
    case.check("interval", found.interval.unwrap());
    case.check("croston", found.croston);
    case.check("sba", found.syntetos_boylan);
}

fn category(case: &Case) {
    let found = classify(&case.series_micro()).unwrap();
    case.check("adi_periods_over_nonzero", found.mean_interval.as_f64());
    let exact = case.expected("adi_exact").as_str().unwrap();
    let (numerator, denominator) = exact.split_once('/').unwrap_or((exact, "1"));
    let exact = Ratio::new(numerator.parse().unwrap(), denominator.parse().unwrap());
    assert_eq!(Some(found.mean_interval), exact, "{}", case.id);
    case.check("cv2_population", found.cv_squared.as_f64());
    case.check_text("category_population_cv2", found.class.name());
}

fn category_boundary(case: &Case) {
    let input = |name: &str| ratio(case.inputs[name].as_str().unwrap());
    case.check_text("category", class_of(input("adi"), input("cv2")).name());
}

/// A decimal as an exact ratio.
fn ratio(decimal: &str) -> Ratio {
    let (whole, fraction) = decimal.split_once('.').unwrap_or((decimal, ""));
    let denominator = 10_u128.pow(fraction.len() as u32);
    Ratio::new(format!("{whole}{fraction}").parse().unwrap(), denominator).unwrap()
}

/// A distribution written as decimals by value.
fn decimal_distribution(pmf: &Value) -> Distribution {
    let mut weights = Vec::new();
    for (value, share) in pmf.as_object().unwrap() {
        let at: usize = value.parse().unwrap();
        let (whole, fraction) = share.as_str().unwrap().split_once('.').unwrap();
        if weights.len() <= at {
            weights.resize(at + 1, 0);
        }
        weights[at] = format!("{whole}{fraction:0<9}").parse().unwrap();
    }
    Distribution::from_weights(&weights).unwrap()
}

/// Far above every sum of the cases, so that nothing is cut off.
const LARGEST: usize = 4095;

fn lead_time_demand(case: &Case) {
    let pmf = |name: &str| decimal_distribution(&case.inputs[name]);
    let sum = match case.kind.as_str() {
        "ltd.iid" => pmf("daily_pmf").sum_of(case.input("lead_time_days") as usize, LARGEST),
        "ltd.random-lead-time" => pmf("daily_pmf").sum_of_random(&pmf("lead_time_pmf"), LARGEST),
        _ => {
            let history = case.inputs["history"].as_array().unwrap();
            let seen = history.iter().map(|value| value.as_u64().unwrap() as usize);
            let unit = Distribution::from_observations(seen).unwrap();
            unit.sum_of(case.input("lead_time") as usize, LARGEST)
        }
    };
    assert!(sum.is_exact(), "{}", case.id);
    let support: Vec<usize> = (0..=LARGEST)
        .filter(|&step| sum.probability(step) > 0.0)
        .collect();
    assert_eq!(
        case.expected("support"),
        &serde_json::json!(support),
        "{}",
        case.id
    );
    for (value, share) in case.expected("pmf").as_object().unwrap() {
        let found = sum.probability(value.parse().unwrap());
        case.near(value, found, share.as_f64().unwrap());
    }
    case.check("mean", sum.mean());
    case.check("variance", sum.variance());
    for (probability, quantile) in case.expected("quantiles").as_object().unwrap() {
        let found = sum.quantile(ratio(probability)) as u64;
        assert_eq!(
            quantile.as_u64(),
            Some(found),
            "{} at {probability}",
            case.id
        );
    }
}
