//! The door of course plans.

use actix_web::web::Data;
use actix_web::{HttpResponse, post};
use utoipa_actix_web::service_config::ServiceConfig;

use super::planning::course_load::course_plan;
use super::planning::course_request::CourseRequest;
use super::planning::course_view::CoursePlan;
use crate::http::{Answer, Body, ProblemBody, Service};

/// Adds the operation.
pub(in crate::casting) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(course_plans_post);
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
