//! What the address of a bench sheet says: when a batch was mixed, and what the balance shows for each.
//!
//! Invariants: the first `base_g` and `curing_agent_g` belong to the first batch, the second to the second; what cannot be read
//! is kept as it was typed, with what would be right. What else is in the address is not read.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

use crate::base::Micro;

/// What was typed into a field, and what is wrong with it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Field {
    /// As it was typed.
    pub(super) typed: String,
    /// What would be right.
    pub(super) fault: Option<String>,
}

impl Field {
    fn of(typed: &str) -> Self {
        Self {
            typed: typed.trim().to_owned(),
            fault: None,
        }
    }

    /// Whether something was typed.
    pub(super) fn is_given(&self) -> bool {
        !self.typed.is_empty()
    }

    /// The mass that was typed, in g; what is no number is marked.
    pub(super) fn mass(&mut self) -> Option<Micro> {
        if !self.is_given() || self.fault.is_some() {
            return None;
        }
        match Micro::parse(&self.typed) {
            Ok(mass) => Some(mass),
            Err(error) => {
                self.fault = Some(error.to_string());
                None
            }
        }
    }
}

/// What the balance shows of a batch.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Readings {
    /// Of the base.
    pub(super) base_g: Field,
    /// Of the curing agent.
    pub(super) curing_agent_g: Field,
}

/// What is asked of a sheet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Asked {
    /// When the mixing of a batch ended, on the day of the cast.
    pub(super) mixed_at: Field,
    /// Which batch that was.
    pub(super) batch: Field,
    /// What the balance shows, batch by batch.
    pub(super) readings: Vec<Readings>,
}

impl Asked {
    /// Reads a query.
    pub(super) fn read(query: &str) -> Self {
        let mut asked = Self::default();
        let (mut bases, mut agents) = (Vec::new(), Vec::new());
        for (name, value) in form_urlencoded::parse(query.as_bytes()) {
            match name.as_ref() {
                "mixed_at" => asked.mixed_at = Field::of(&value),
                "batch" => asked.batch = Field::of(&value),
                "base_g" => bases.push(Field::of(&value)),
                "curing_agent_g" => agents.push(Field::of(&value)),
                _ => {}
            }
        }
        let most = bases.len().max(agents.len());
        bases.resize(most, Field::default());
        agents.resize(most, Field::default());
        let both = bases.into_iter().zip(agents);
        asked.readings = both
            .map(|(base_g, curing_agent_g)| Readings {
                base_g,
                curing_agent_g,
            })
            .collect();
        asked
    }

    /// The instant of the mixing on the day of the cast, and its batch; what is wrong is marked.
    pub(super) fn mixing(&mut self, on: NaiveDate, zone: Tz) -> Option<(DateTime<Utc>, i32)> {
        let batch = match self.batch.typed.parse() {
            _ if !self.batch.is_given() => 1,
            Ok(no) => no,
            Err(_) => {
                self.no_such_batch();
                return None;
            }
        };
        if !self.mixed_at.is_given() {
            return None;
        }
        let typed = &self.mixed_at.typed;
        let fault = match NaiveTime::parse_from_str(typed, "%H:%M") {
            Err(_) => format!("`{typed}` is no time: send hours and minutes, such as 14:05"),
            Ok(time) => match zone.from_local_datetime(&on.and_time(time)).earliest() {
                Some(at) => return Some((at.with_timezone(&Utc), batch)),
                None => format!("`{typed}` is not on the clock that day: it is set forward then"),
            },
        };
        self.mixed_at.fault = Some(fault);
        None
    }

    /// Whether all of it could be read.
    pub(super) fn is_right(&self) -> bool {
        let readings = self.readings.iter();
        let fields = readings.flat_map(|of| [&of.base_g, &of.curing_agent_g]);
        let mut all = fields.chain([&self.mixed_at, &self.batch]);
        all.all(|field| field.fault.is_none())
    }

    /// Marks the batch as none of the cast's.
    pub(super) fn no_such_batch(&mut self) {
        let detail = format!("`{}` is not one of the cast's batches", self.batch.typed);
        self.batch.fault = Some(detail);
    }

    /// Everything that a form must send along besides what is typed into it, in its order: before it and after it. `batch` is
    /// the place of the form's batch, from 0; none for the form of the clock.
    pub(super) fn kept(&self, batch: Option<usize>) -> (Vec<Kept>, Vec<Kept>) {
        let mut before = Vec::new();
        if batch.is_some() {
            for (name, field) in [("mixed_at", &self.mixed_at), ("batch", &self.batch)] {
                if field.is_given() {
                    before.push((name, field.typed.clone()));
                }
            }
        }
        let pair = |readings: &Readings| {
            [
                ("base_g", readings.base_g.typed.clone()),
                ("curing_agent_g", readings.curing_agent_g.typed.clone()),
            ]
        };
        let own = batch.unwrap_or(self.readings.len());
        for place in 0..own {
            let none = Readings::default();
            before.extend(pair(self.readings.get(place).unwrap_or(&none)));
        }
        let after = self.readings.iter().skip(own + 1).flat_map(pair);
        (before, after.collect())
    }
}

/// A name and a value that a form sends along.
pub(super) type Kept = (&'static str, String);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nth_pair_belongs_to_the_nth_batch_and_each_form_keeps_the_rest() {
        let asked = Asked::read(
            "mixed_at=09%3A40&base_g=33&curing_agent_g=3.3&base_g=&curing_agent_g=+&base_g=12",
        );
        assert_eq!(asked.readings.len(), 3);
        assert_eq!(asked.readings[2].base_g.typed, "12");
        assert!(!asked.readings[1].curing_agent_g.is_given());
        let (before, after) = asked.kept(Some(1));
        let names = |kept: &[Kept]| -> Vec<String> {
            kept.iter()
                .map(|(name, value)| format!("{name}={value}"))
                .collect()
        };
        assert_eq!(
            names(&before),
            ["mixed_at=09:40", "base_g=33", "curing_agent_g=3.3"]
        );
        assert_eq!(names(&after), ["base_g=12", "curing_agent_g="]);
        let (before, after) = asked.kept(None);
        assert_eq!((before.len(), after.len()), (6, 0));
        // A batch that comes later keeps its place.
        assert_eq!(Asked::default().kept(Some(2)).0.len(), 4);
    }

    #[test]
    fn a_time_is_one_of_the_day_of_the_cast_where_the_lab_is() {
        let on = |day: &str| day.parse::<NaiveDate>().unwrap();
        let zone = chrono_tz::Europe::Berlin;
        let mut asked = Asked::read("mixed_at=14:05&batch=2");
        let (at, batch) = asked.mixing(on("2026-07-01"), zone).unwrap();
        assert_eq!(
            (at.to_rfc3339().as_str(), batch),
            ("2026-07-01T12:05:00+00:00", 2)
        );
        let mut asked = Asked::read("mixed_at=2pm");
        assert_eq!(asked.mixing(on("2026-07-01"), zone), None);
        assert_eq!(
            asked.mixed_at.fault.as_deref(),
            Some("`2pm` is no time: send hours and minutes, such as 14:05")
        );
        // The clock is set forward from 2 to 3 on that day.
        let mut asked = Asked::read("mixed_at=02:30");
        assert_eq!(asked.mixing(on("2026-03-29"), zone), None);
        assert!(asked.mixed_at.fault.is_some());
        let mut asked = Asked::read("mixed_at=14:05&batch=first");
        assert_eq!(asked.mixing(on("2026-07-01"), zone), None);
        assert!(asked.batch.fault.is_some());
    }

    #[test]
    fn what_is_no_mass_is_marked_with_what_would_be_right() {
        let mut asked = Asked::read("base_g=33,2&curing_agent_g=3.3");
        assert_eq!(asked.readings[0].base_g.mass(), None);
        let fault = asked.readings[0].base_g.fault.clone().unwrap();
        assert!(
            fault.starts_with("\"33,2\" is not a decimal number"),
            "{fault}"
        );
        assert_eq!(
            asked.readings[0].curing_agent_g.mass(),
            Micro::parse("3.3").ok()
        );
    }
}
