//! How long a plan takes inside the process: a recipe of twelve materials, several packs of each, everything learned that
//! can be. Prints the median, the 99th percentile and the longest; in a release build, a 99th percentile of 2 ms or more
//! is a failure.
//!
//! Two cases: stock for everything, and too little curing agent, where the largest bookable number of trays is looked
//! for as well. Deliberately absent: the database, whose reads are another matter.
#![expect(clippy::print_stdout, reason = "a measurement is there to be printed")]

use std::collections::BTreeSet;
use std::hint::black_box;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use chrono::NaiveDate;
use heeltap::base::{Currency, Micro, Money, Quantity};
use heeltap::casting::planning::charging::ChargedGrant;
use heeltap::casting::planning::day::DayFacts;
use heeltap::casting::planning::plan::{PlanFacts, plan};
use heeltap::casting::planning::plan_view::CastPlan;
use heeltap::casting::planning::request::PlanRequest;
use heeltap::casting::planning::sizing::Experience;
use heeltap::casting::sums::learned::{FactorPosterior, Noise};
use heeltap::casting::sums::pool::PoolState;
use heeltap::casting::sums::yields::{ChipCount, YieldPosterior};
use heeltap::catalogue::RecipeFacts;
use heeltap::stock::shelf::PackFacts;

/// What the 99th percentile must stay below.
const P99_MAX: Duration = Duration::from_millis(2);
const WARM_UP: usize = 500;
const PLANS: usize = 20_000;
const TRAYS_MAX: u32 = 12;
const PACKS_PER_MATERIAL: i64 = 5;

fn main() -> ExitCode {
    let requests = requests();
    let mut slow = false;
    for (name, agent_per_pack) in [("in stock", 100), ("short of stock", 1)] {
        let facts = facts(agent_per_pack);
        let materials: BTreeSet<i64> = facts.shelf.iter().map(|pack| pack.material_id).collect();
        let largest = planned(&facts, &requests[requests.len() - 1]);
        assert_eq!(materials.len(), 12);
        assert_eq!(largest.shortages.is_empty(), agent_per_pack > 1);
        let plans = percentiles(&mut measure(&facts, &requests));
        println!(
            "plan, {name}: {} materials, {} packs, 1 to {TRAYS_MAX} trays; {PLANS} plans: p50 {:?}, p99 {:?}, longest {:?}",
            materials.len(),
            facts.shelf.len(),
            plans[0],
            plans[1],
            plans[2],
        );
        slow |= plans[1] >= P99_MAX;
    }
    if slow && !cfg!(debug_assertions) {
        println!("a 99th percentile is not below {P99_MAX:?}");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// From one tray to many, for one group and for two.
fn requests() -> Vec<PlanRequest> {
    let request = |trays: u32, groups: u32| {
        let body = format!(
            r#"{{"recipe": "chip", "containers": {trays}, "groups": {groups}, "cast_on": "2026-03-02",
                "charges": [{{"grant": "a", "share": "60"}}, {{"grant": "b", "share": "40"}}]}}"#
        );
        serde_json::from_str(&body).expect("a request")
    };
    (1..=TRAYS_MAX)
        .flat_map(|trays| (1..=trays.min(2)).map(move |groups| request(trays, groups)))
        .collect()
}

fn planned(facts: &PlanFacts, request: &PlanRequest) -> CastPlan {
    plan(black_box(facts), black_box(request))
        .expect("the recipe can be planned")
        .view
}

/// How long each plan takes, once the first ones are through.
fn measure(facts: &PlanFacts, requests: &[PlanRequest]) -> Vec<Duration> {
    let once = |request: &PlanRequest| {
        let start = Instant::now();
        let planned = planned(facts, request);
        let took = start.elapsed();
        black_box(planned);
        took
    };
    let all = requests.iter().cycle().take(WARM_UP + PLANS);
    all.map(once).skip(WARM_UP).collect()
}

/// The median, the 99th percentile and the longest.
fn percentiles(times: &mut [Duration]) -> [Duration; 3] {
    times.sort();
    [0.5, 0.99, 1.0].map(|share| times[((times.len() - 1) as f64 * share) as usize])
}

/// A grant that is charged half, within its days and its budget.
fn grant(id: i64) -> ChargedGrant {
    let body = serde_json::json!({"code": format!("g-{id}"), "name": "Grant", "ends_on": "2027-12-31",
        "materials_budget": "5000", "beyond": "refuse"});
    ChargedGrant {
        id,
        body: serde_json::from_value(body).expect("a grant"),
        share: Micro::from_int(50),
        spent: Money::from_int(1200),
        booked: Money::from_int(300),
    }
}

/// The facts of a plan, with so much in each pack of curing agent, in g.
fn facts(agent_per_pack: i32) -> PlanFacts {
    let recipe: RecipeFacts =
        serde_json::from_str(include_str!("../src/casting/samples/recipe.json"))
            .expect("the sample reads");
    let mut residue = FactorPosterior::prior();
    for weighed_g in [5.1, 4.7, 5.6, 4.9, 5.2] {
        let learned = residue.learn(4.0, weighed_g, &Noise::default());
        residue = learned.expect("a weighing").posterior;
    }
    let counted = ChipCount {
        good: 460,
        rejected: 40,
    };
    let coat = Some(PoolState {
        value: Money::from_int(3),
        uses: 2,
    });
    PlanFacts {
        experience: Experience {
            residue,
            fill_factors: vec![1.01, 1.03, 1.02],
            coats: vec![coat, None],
        },
        yields: YieldPosterior::from_history(counted, counted),
        shelf: shelf(&recipe, agent_per_pack),
        grants: vec![grant(101), grant(102)],
        mold_pool: PoolState {
            value: Money::from_int(90),
            uses: 40,
        },
        on_order: Default::default(),
        later_holders: Default::default(),
        currency: Currency::parse("EUR").expect("a currency"),
        day: DayFacts {
            working_min: 480,
            others: Vec::new(),
        },
        recipe,
    }
}

/// Several packs of every material: opened and not, of both grants and of nobody, base and agent in matched kit lots.
fn shelf(recipe: &RecipeFacts, agent_per_pack: i32) -> Vec<PackFacts> {
    let named = [
        Some(&recipe.base),
        Some(&recipe.curing_agent),
        Some(&recipe.container),
        Some(&recipe.cup),
        recipe.tape.as_ref(),
        recipe.release_agent.as_ref(),
    ];
    let extras = recipe.extras.iter().map(|(entry, _)| entry);
    let day = |text: &str| text.parse::<NaiveDate>().expect("a day");
    let mut shelf = Vec::new();
    for material in named.into_iter().flatten().chain(extras) {
        for no in 0..PACKS_PER_MATERIAL {
            let on_hand = match material.id {
                id if id == recipe.base.id => 1_000,
                id if id == recipe.curing_agent.id => agent_per_pack,
                _ => 50,
            };
            let kit = [recipe.base.id, recipe.curing_agent.id].contains(&material.id);
            let quantity = Quantity::from_int(on_hand);
            shelf.push(PackFacts {
                pack_id: 1_000 * material.id + no,
                no: 1,
                lot_id: 100 * material.id + no,
                lot_code: format!("L{no}"),
                kit_lot: kit.then(|| format!("K{no}")),
                material_id: material.id,
                funded_by_id: (no > 2).then_some(100 + no),
                received_on: day("2026-01-01"),
                expires_on: Some(day("2027-01-01")),
                opened_on: (no == 1).then(|| day("2026-03-01")),
                open_life_days: None,
                held_reason: None,
                on_hand: quantity,
                reserved: Quantity::ZERO,
                heel: Quantity::ZERO,
                lot_on_hand: quantity,
                lot_value: Money::from_int(on_hand),
            });
        }
    }
    shelf
}
