//! The plan of a course: session after session by their days, each planned on what the ones before it leave.
//!
//! Invariants: every session is an ordinary plan; mould, coats, shelf and day are carried from one session to the next
//! (of the same mould, material or day). Casts that are booked in between wear the mould's coats too, and are left out.
//! Deliberately absent: any booking.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::charging::planned_shares;
use super::coating::coats_pass;
use super::course_request::{CourseRequest, CourseSession};
use super::course_shelf::{CourseShelf, back_on, comes_back, free_on};
use super::course_view::{
    CoursePlan, CourseShortage, CourseTotals, GroupPlan, MaterialTotal, SessionPlan,
};
use super::day::{OtherCast, cast_load};
use super::plan::{OnOrder, PlanFacts, Planned, code_of, plan, worth};
use super::plan_view::CastPlan;
use crate::base::{Error, Micro, Money, Quantity};
use crate::casting::cost::{Components, CostView};
use crate::casting::sums::coats::Coat;
use crate::casting::sums::pool::PoolState;
use crate::casting::sums::yields::{DEFAULT_PROBABILITY, trays_for};
use crate::stock::needs::Purpose;

/// Plans a course. `facts` are those of each session, in the order of the request, each as if it stood alone.
///
/// # Errors
/// [`Error::Invalid`] when a session makes no sense or its recipe cannot be cast so, with pointers into the course.
pub(in crate::casting) fn plan_course(
    request: &CourseRequest,
    facts: Vec<PlanFacts>,
) -> Result<CoursePlan, Error> {
    let mut order: Vec<(usize, PlanFacts)> = facts.into_iter().enumerate().collect();
    order.sort_by_key(|(index, _)| request.sessions[*index].cast_on);
    let mut course = Course::default();
    let mut sessions: Vec<(usize, SessionPlan)> = Vec::with_capacity(order.len());
    for (index, mut facts) in order {
        let planned = course
            .session(request, index, &mut facts)
            .map_err(|error| request.at_session(index, error))?;
        let view = planned.view;
        sessions.push((
            index,
            SessionPlan {
                cast_on: view.cast_on,
                recipe: view.recipe.clone(),
                groups: groups(&view, facts.recipe.mold.body.chips)?,
                plan: view,
            },
        ));
    }
    sessions.sort_by_key(|(index, _)| *index);
    let sessions: Vec<SessionPlan> = sessions.into_iter().map(|(_, session)| session).collect();
    let by_material = course.materials.values();
    Ok(CoursePlan {
        first_short_on: by_material.clone().filter_map(|m| m.first_short_on).min(),
        shortages: by_material.clone().filter_map(Material::shortage).collect(),
        totals: totals(&sessions, by_material.map(Material::total).collect())?,
        sessions,
    })
}

/// What is carried from session to session.
#[derive(Default)]
struct Course {
    shelf: CourseShelf,
    molds: BTreeMap<i64, (PoolState, Vec<Coat>)>,
    casts: Vec<(NaiveDate, OtherCast)>,
    materials: BTreeMap<i64, Material>,
    /// What the sessions so far cost each grant.
    booked: BTreeMap<i64, Money>,
}

/// What the course needs of a material.
#[derive(Default)]
struct Material {
    code: String,
    needed: i64,
    available: Quantity,
    short: i64,
    first_short_on: Option<NaiveDate>,
    on_order: OnOrder,
    hint: Option<String>,
    /// Of what comes back: quantities with the day from which they can be used again.
    in_use: Vec<(NaiveDate, i64)>,
}

impl Course {
    /// Plans one session on what the sessions before it left, and takes off what it uses.
    fn session(
        &mut self,
        request: &CourseRequest,
        index: usize,
        facts: &mut PlanFacts,
    ) -> Result<Planned, Error> {
        let session = &request.sessions[index];
        let plan_request = request.of_session(session, trays(request, session, facts)?);
        let (day, cross) = (session.cast_on, request.allow_cross_charge);
        let alone = facts.shelf.clone();
        facts.shelf = self.shelf.found_on(day, &alone);
        if let Some((pool, coats)) = self.molds.get(&facts.recipe.mold.id) {
            facts.mold_pool = *pool;
            facts.experience.coats.clone_from(coats);
        }
        for grant in &mut facts.grants {
            let before = self.booked.get(&grant.id).copied().unwrap_or(Money::ZERO);
            grant.booked = grant.booked.checked_add(before)?;
        }
        let that_day = self.casts.iter().filter(|(on, _)| *on == day);
        facts
            .day
            .others
            .extend(that_day.map(|(_, cast)| cast.clone()));
        let planned = plan(facts, &plan_request)?;
        for (grant, share) in planned_shares(planned.view.cost.total, &facts.grants)? {
            let sum = self.booked.entry(grant.id).or_insert(Money::ZERO);
            *sum = sum.checked_add(share)?;
        }
        self.wear(index, facts, &planned)?;
        self.shelf.take(facts, day, cross, &planned);
        let found = std::mem::replace(&mut facts.shelf, alone);
        self.add_needs(facts, day, cross, &planned);
        facts.shelf = found;
        self.add_shortfalls(facts, day, &planned);
        Ok(planned)
    }

    /// Uses up mould and coats, and puts the session on its day.
    fn wear(&mut self, index: usize, facts: &PlanFacts, planned: &Planned) -> Result<(), Error> {
        let containers = planned.sizing.containers;
        let mut pool = facts.mold_pool;
        pool.issue(i64::from(containers))?;
        let vials = planned
            .list
            .picks
            .iter()
            .filter(|picked| planned.sizing.needs[picked.need].purpose == Purpose::Release);
        let mut vials_value = Money::ZERO;
        for picked in vials {
            let value = worth(&facts.shelf[picked.pack], picked.quantity)?;
            vials_value = vials_value.checked_add(value)?;
        }
        let mut coats = facts.experience.coats.clone();
        let need = planned.sizing.release.as_ref();
        coats_pass(&facts.recipe, &mut coats, containers, need, vials_value)?;
        self.molds.insert(facts.recipe.mold.id, (pool, coats));
        let load = cast_load(&facts.recipe, containers);
        self.casts.extend(load.map(|load| {
            let cast = OtherCast {
                cast_id: 0,
                code: format!("session {}", index + 1),
                mold: facts.recipe.mold.code.to_string(),
                load,
            };
            (planned.view.cast_on, cast)
        }));
        Ok(())
    }

    /// Adds what a session needs. The facts hold the shelf as it is without the course.
    fn add_needs(&mut self, facts: &PlanFacts, day: NaiveDate, cross: bool, planned: &Planned) {
        for need in &planned.sizing.needs {
            let material = self
                .materials
                .entry(need.material_id)
                .or_insert_with(|| Material {
                    code: code_of(facts, need.material_id),
                    available: free_on(facts, need, day, cross),
                    on_order: facts
                        .on_order
                        .get(&need.material_id)
                        .cloned()
                        .unwrap_or_default(),
                    ..Material::default()
                });
            let quantity = need.quantity.micro();
            if comes_back(&facts.recipe, need) {
                material
                    .in_use
                    .push((back_on(&facts.recipe, day), quantity));
                let at_once = material.in_use.iter().filter(|(back, _)| *back > day);
                let at_once: i64 = at_once.map(|(_, quantity)| quantity).sum();
                material.needed = material.needed.max(at_once);
            } else {
                material.needed = material.needed.saturating_add(quantity);
            }
        }
    }

    fn add_shortfalls(&mut self, facts: &PlanFacts, day: NaiveDate, planned: &Planned) {
        for shortfall in &planned.list.shortfalls {
            let Some(material) = self.materials.get_mut(&shortfall.material_id) else {
                continue;
            };
            let short = shortfall.needed.micro() - shortfall.available.micro();
            let needs = planned.sizing.needs.iter();
            let back = needs
                .filter(|need| need.material_id == shortfall.material_id)
                .all(|need| comes_back(&facts.recipe, need));
            material.short = match back {
                true => material.short.max(short),
                false => material.short.saturating_add(short.max(0)),
            };
            material.first_short_on = material.first_short_on.or(Some(day));
            material.hint = material.hint.take().or_else(|| shortfall.hint.clone());
        }
    }
}

impl Material {
    fn total(&self) -> MaterialTotal {
        MaterialTotal {
            material: self.code.clone(),
            needed: Quantity::from_micro(self.needed),
            available: self.available,
            short: Quantity::from_micro(self.short),
        }
    }

    fn shortage(&self) -> Option<CourseShortage> {
        Some(CourseShortage {
            material: self.code.clone(),
            short: Quantity::from_micro(self.short),
            first_short_on: self.first_short_on?,
            on_order: self.on_order.quantity,
            arrives_on: self.on_order.arrives_on,
            hint: self.hint.clone(),
        })
    }
}

/// Trays of a session: what each group casts, by its wish or by the yield, times the groups, and the spare ones.
fn trays(
    request: &CourseRequest,
    session: &CourseSession,
    facts: &PlanFacts,
) -> Result<u32, Error> {
    let each = match (session.containers_per_group, session.good_chips_per_group) {
        (Some(containers), _) => containers,
        (None, Some(wanted)) => {
            let chips = facts.recipe.mold.body.chips;
            trays_for(&facts.yields, wanted, chips, DEFAULT_PROBABILITY)
                .map_err(|e| Error::invalid("/good_chips_wanted", e.to_string()))?
                .trays
        }
        (None, None) => 0,
    };
    let spare = request.spare_containers_per_session.unwrap_or(0);
    Ok(session.groups.saturating_mul(each).saturating_add(spare))
}

/// The groups of a plan.
fn groups(plan: &CastPlan, chips: u32) -> Result<Vec<GroupPlan>, Error> {
    let mut groups: BTreeMap<u32, GroupPlan> = BTreeMap::new();
    for batch in &plan.batches {
        let group = groups.entry(batch.group).or_insert_with(|| GroupPlan {
            group: batch.group,
            containers: 0,
            chips: 0,
            batches: Vec::new(),
            base_g: Micro::ZERO,
            curing_agent_g: Micro::ZERO,
            total_g: Micro::ZERO,
        });
        group.containers += batch.containers;
        group.chips += batch.containers * chips;
        group.batches.push(batch.no);
        group.base_g = group.base_g.checked_add(batch.base_g)?;
        group.curing_agent_g = group.curing_agent_g.checked_add(batch.curing_agent_g)?;
        group.total_g = group.total_g.checked_add(batch.total_g)?;
    }
    Ok(groups.into_values().collect())
}

fn totals(
    sessions: &[SessionPlan],
    by_material: Vec<MaterialTotal>,
) -> Result<CourseTotals, Error> {
    let plans = || sessions.iter().map(|session| &session.plan);
    let sum = |part: fn(&CastPlan) -> Micro| Micro::checked_sum(plans().map(part));
    let mut components = Components::default();
    for amount in plans().flat_map(|plan| &plan.cost.components) {
        components.add(amount.component, amount.amount)?;
    }
    let expected_good_chips = sum(|plan| plan.expected_good_chips)?;
    let currency = plans()
        .next()
        .map_or("", |plan| plan.cost.currency.as_str());
    let cost = CostView::new(&components, currency, "planned", expected_good_chips)?;
    Ok(CourseTotals {
        containers: plans().map(|plan| plan.containers).sum(),
        chips: plans().map(|plan| plan.chips).sum(),
        expected_good_chips,
        mix_g: sum(|plan| plan.mix.total_g)?,
        base_g: sum(|plan| plan.mix.base_g)?,
        curing_agent_g: sum(|plan| plan.mix.curing_agent_g)?,
        per_good_chip: cost.per_good_chip,
        cost,
        by_material,
    })
}
