//! Planning a course on the books as they are, all of it read in one snapshot.

use super::course::plan_course;
use super::course_request::CourseRequest;
use super::course_view::CoursePlan;
use super::load::{plan_facts, recipe};
use crate::base::Error;
use crate::db::{AnyConnection, House};

/// Plans a course without writing.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for what the request asks or names.
pub fn course_plan(
    conn: &mut AnyConnection,
    request: &CourseRequest,
    house: House,
) -> Result<CoursePlan, Error> {
    request.check()?;
    let mut facts = Vec::with_capacity(request.sessions.len());
    for (index, session) in request.sessions.iter().enumerate() {
        // How many trays it will be is decided later; nothing that is read depends on it.
        let one = request.of_session(session, session.groups);
        let found =
            recipe(conn, &one).and_then(|recipe| plan_facts(conn, recipe, &one, house, None));
        facts.push(found.map_err(|error| request.at_session(index, error))?);
    }
    plan_course(request, facts)
}
