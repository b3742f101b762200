//! The README's example that a reader can redo by hand: every figure from exact fractions of what went in, and the same
//! from the service. The figures are invented.

use std::fmt;
use std::ops::{Add, Div, Mul, Sub};

use serde_json::{Value, json};

use crate::support::TestApp;
use crate::support::lab::verified;

/// A fraction, whole numbers alone.
#[derive(Clone, Copy)]
struct Q(i128, i128);

/// A decimal as a fraction.
fn q(text: &str) -> Q {
    let (whole, places) = text.split_once('.').unwrap_or((text, ""));
    let digits: i128 = format!("{whole}{places}").parse().expect("a decimal");
    Q(
        digits,
        10_i128.pow(u32::try_from(places.len()).expect("a few")),
    )
}

impl Add for Q {
    type Output = Q;
    fn add(self, other: Q) -> Q {
        Q(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
    }
}

impl Sub for Q {
    type Output = Q;
    fn sub(self, other: Q) -> Q {
        self + Q(-other.0, other.1)
    }
}

impl Mul for Q {
    type Output = Q;
    fn mul(self, other: Q) -> Q {
        let (num, den) = (self.0 * other.0, self.1 * other.1);
        let (mut a, mut b) = (num.abs(), den);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        Q(num / a.max(1), den / a.max(1))
    }
}

impl Div for Q {
    type Output = Q;
    fn div(self, other: Q) -> Q {
        let sign = other.0.signum();
        self * Q(other.1 * sign, other.0 * sign)
    }
}

/// The decimal that the fraction is; the example has no other.
impl fmt::Display for Q {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let micro = self.0 * 1_000_000;
        assert_eq!(
            micro % self.1,
            0,
            "{}/{} is no decimal of 6 places",
            self.0,
            self.1
        );
        let micro = i64::try_from(micro / self.1).expect("a small number");
        write!(f, "{}", heeltap::base::Money::from_micro(micro))
    }
}

const README: &str = include_str!("../../README.md");

/// A figure stands in the README's table, in bold, and is the service's.
#[track_caller]
fn stands(what: &str, figure: Q, served: &Value) {
    let row = README
        .lines()
        .find(|line| line.starts_with(&format!("| {what} |")))
        .unwrap_or_else(|| panic!("the README has no row for {what}"));
    let shown = row
        .trim_end_matches(" |")
        .rsplit("| ")
        .next()
        .unwrap_or_default();
    assert_eq!(shown, figure.to_string(), "{what}, as the README shows it");
    assert_eq!(
        served,
        &json!(figure.to_string()),
        "{what}, as the service gives it"
    );
}

fn catalogue(app: &TestApp) {
    let post = |noun: &str, body: Value| drop(app.post(&format!("/v1/{noun}"), body).expect(201));
    post(
        "materials",
        json!({"code": "base", "name": "Base", "kind": "elastomer_base", "unit": "g"}),
    );
    post(
        "materials",
        json!({"code": "agent", "name": "Agent", "kind": "curing_agent", "unit": "g"}),
    );
    post(
        "materials",
        json!({"code": "tray", "name": "Tray", "kind": "container", "unit": "each",
            "container": {"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15"}}),
    );
    post(
        "materials",
        json!({"code": "cup", "name": "Cup", "kind": "mixing_cup", "unit": "each",
            "container": {"shape": "round", "diameter_mm": "70", "depth_mm": "90", "fill_limit": "0.5"}}),
    );
    post(
        "elastomers",
        json!({"code": "el", "name": "Elastomer", "base": "base", "curing_agent": "agent",
            "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
            "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "65", "minutes": "240"}]}),
    );
    post(
        "kits",
        json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"}),
    );
    post(
        "molds",
        json!({"code": "mold", "name": "Mould", "length_mm": "75", "width_mm": "50", "thickness_mm": "1",
            "chips": 4, "copies": 2, "cost": "60", "rated_casts": 60}),
    );
    post(
        "recipes",
        json!({"code": "chip", "name": "Chip", "elastomer": "el", "mold": "mold", "container": "tray", "cup": "cup",
            "chip_thickness_mm": "4", "drain_time_s": "60"}),
    );
    for grant in ["first", "second"] {
        post("grants", json!({"code": grant, "name": grant}));
    }
}

const PURCHASES: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
    H-1,1,North,2026-02-01,2026-02-10,kit,K1,1,,kit,100.00,EUR,12.50,\n\
    H-1,2,North,2026-02-01,2026-02-10,tray,T1,1,10,each,20.00,EUR,,\n\
    H-1,3,North,2026-02-01,2026-02-10,cup,C1,1,10,each,5.00,EUR,,\n";

/// The field of the first item whose other field is a text.
fn pick(items: &Value, by: &str, text: &str, field: &str) -> Value {
    let items = items.as_array().expect("items");
    let found = items.iter().find(|item| item[by] == text);
    found.unwrap_or_else(|| panic!("no {by} {text}"))[field].clone()
}

#[test]
fn every_figure_of_the_example_is_that_of_a_pencil() {
    let app = TestApp::start();
    catalogue(&app);
    app.post_text("/v1/purchase-imports", "text/csv", PURCHASES)
        .expect(201);

    // What it cost on the shelf: freight by value, the kit by mass.
    let prices = q("100") + q("20") + q("5");
    let landed = |price: &str| q(price) + q("12.50") * q(price) / prices;
    let (kit, trays, cups) = (landed("100"), landed("20"), landed("5"));
    let (base, agent) = (kit * q("1000") / q("1100"), kit * q("100") / q("1100"));
    let lots = app.get("/v1/lots").expect(200).json()["items"].clone();
    let lot = |material: &str| pick(&lots, "material", material, "landed_cost");
    stands("base, 1,000 g", base, &lot("base"));
    stands("curing agent, 100 g", agent, &lot("agent"));
    stands("10 trays", trays, &lot("tray"));
    stands("10 cups", cups, &lot("cup"));

    let charges = json!([{"grant": "first", "share": "60"}, {"grant": "second", "share": "40"}]);
    let booking =
        json!({"recipe": "chip", "containers": 2, "cast_on": "2026-03-02", "charges": charges});
    app.post("/v1/casts", booking).expect(201);
    let pour = json!({"poured_on": "2026-03-02", "batches": [{"base_g": "50", "curing_agent_g": "5", "residue_g": "5.5"}]});
    app.post("/v1/casts/C-00001/pour", pour).expect(200);
    let demold = json!({"demolded_on": "2026-03-02", "good": 6, "rejects": [{"reason": "bubbles", "count": 2}]});
    app.post("/v1/casts/C-00001/demold", demold).expect(200);

    // A gram of either part costs the same here, and so does a gram of the mix.
    let gram = (q("50") * base / q("1000") + q("5") * agent / q("100")) / q("55");
    let chip_g = q("2") * q("75") * q("50") * q("4") / q("1000") * q("1.03");
    let fill_g =
        q("2") * (q("90") * q("60") * q("5") - q("75") * q("50") * q("1")) / q("1000") * q("1.03");
    let (chip, trim) = (chip_g * gram, (fill_g - chip_g) * gram);
    let (overfill, residue) = ((q("55") - q("5.5") - fill_g) * gram, q("5.5") * gram);
    let (container, cup, mold) = (
        q("2") * trays / q("10"),
        cups / q("10"),
        q("2") * q("60") / q("60"),
    );
    let total = chip + trim + overfill + residue + container + cup + mold;
    let cost = app.get("/v1/casts/C-00001/cost").expect(200).json();
    let component = |name: &str| pick(&cost["components"], "component", name, "amount");
    for (what, figure, name) in [
        ("`chip`", chip, "chip"),
        ("`trim`", trim, "trim"),
        ("`overfill`", overfill, "overfill"),
        ("`residue`", residue, "residue"),
        ("`container`", container, "container"),
        ("`cup`", cup, "cup"),
        ("`mold`", mold, "mold"),
    ] {
        stands(what, figure, &component(name));
    }
    stands("the cast", total, &cost["total"]);
    stands("a good chip", total / q("6"), &cost["per_good_chip"]);
    reported(&app, total, (residue, trim, overfill));
    corrected(&app, (base, agent), (trays, cups), gram);
    verified(&app);
}

/// What each grant is charged, and what was wasted.
fn reported(app: &TestApp, total: Q, (residue, trim, overfill): (Q, Q, Q)) {
    let report = app.get("/v1/reports/replica-cost").expect(200).json();
    let charged = |grant: &str| pick(&report["rows"], "key", grant, "exact_total");
    stands(
        "charged to the first grant, 60 %",
        total * q("0.6"),
        &charged("first"),
    );
    stands(
        "charged to the second, 40 %",
        total * q("0.4"),
        &charged("second"),
    );
    let waste = app.get("/v1/reports/waste").expect(200).json();
    let rejects = (total - residue - trim - overfill) * q("2") / q("8");
    let amounts = &waste["total"]["amounts"];
    stands(
        "the two rejects",
        rejects,
        &pick(amounts, "category", "rejects", "exact"),
    );
    let wasted = residue + trim + overfill + rejects;
    stands("wasted in all", wasted, &waste["total"]["exact_total"]);
}

/// A credit note of a tenth of the kit, after a twentieth of it was used.
fn corrected(app: &TestApp, (base, agent): (Q, Q), (trays, cups): (Q, Q), gram: Q) {
    let credit = json!({"order_no": "H-1", "line_no": 1, "amount": "-11", "reason": "credit note"});
    app.post("/v1/price-corrections", credit).expect(201);
    let report = app.get("/v1/reports/replica-cost").expect(200).json();
    let used = q("0") - q("11") * q("0.05");
    let variance = |grant: &str| {
        pick(
            &report["price_variance"]["rows"],
            "key",
            grant,
            "exact_total",
        )
    };
    stands(
        "credited to the first grant",
        used * q("0.6"),
        &variance("first"),
    );
    stands(
        "credited to the second",
        used * q("0.4"),
        &variance("second"),
    );
    let stock = app.get("/v1/reports/stock-value").expect(200).json();
    let left = base + agent - q("55") * gram - q("11") * q("0.95");
    let left = left + trays * q("8") / q("10") + cups * q("9") / q("10");
    stands("left on the shelf", left, &stock["total"]["exact_closing"]);
}
