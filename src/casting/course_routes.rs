//! The doors of course plans and of what would be if.

use actix_web::web::Data;
use actix_web::{HttpResponse, post};
use utoipa_actix_web::service_config::ServiceConfig;

use super::planning::course_load::course_plan;
use super::planning::course_request::CourseRequest;
use super::planning::course_view::CoursePlan;
use super::planning::what_if_load::cast_what_if;
use super::planning::what_if_request::WhatIfIn;
use super::planning::what_if_view::WhatIfOut;
use crate::http::{Answer, Body, ProblemBody, Service};

/// Adds the operations.
pub(in crate::casting) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(course_plans_post).service(what_ifs_post);
}

/// Plan a course: sessions of groups against one shelf. Computes, writes nothing; a course short of stock is still a plan.
#[utoipa::path(
    tag = "casts",
    request_body = CourseRequest,
    responses(
        (status = 200, description = "The plan", body = CoursePlan),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/course-plans")]
async fn course_plans_post(service: Data<Service>, body: Body<CourseRequest>) -> Answer {
    let (request, _) = body.split();
    let house = service.house();
    let plan = service
        .read(move |conn| course_plan(conn, &request, house))
        .await?;
    Ok(HttpResponse::Ok().json(plan))
}

/// Ask what a cast would cost otherwise: with other trays in a cup, drained longer, in another tray, at another price, with
/// another yield. One thing changes at a time; each line is a whole plan on the same stock. Computes, writes nothing.
#[utoipa::path(
    tag = "casts",
    request_body = WhatIfIn,
    responses(
        (status = 200, description = "The plan, and what it would be otherwise", body = WhatIfOut),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[post("/v1/what-ifs")]
async fn what_ifs_post(service: Data<Service>, body: Body<WhatIfIn>) -> Answer {
    let (asked, _) = body.split();
    let house = service.house();
    let found = service
        .read(move |conn| cast_what_if(conn, &asked, house))
        .await?;
    Ok(HttpResponse::Ok().json(found))
}
