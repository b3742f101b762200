//! The catalogue's addresses: five operations for each of the seven nouns, alike but for the document.
//!
//! Invariant: a handler parses, makes one call and wraps the answer. Deliberately absent: who may call what (the table
//! of doors says).

use actix_web::web::{Data, Path};
use actix_web::{get, patch, post};
use utoipa_actix_web::service_config::ServiceConfig;

use super::change::entry_change;
use super::create::entry_create;
use super::find::{entry_list, entry_show};
use super::noun::CatalogueBody;
use super::retire::entry_retire;
use super::wire::{EntryOut, EntryPage, StateQuery};
use super::{ElastomerBody, GrantBody, KitBody, MaterialBody, MoldBody, RecipeBody, SupplierBody};
use crate::http::{
    Answer, Body, IfMatch, List, MergePatch, NoBody, PageQuery, ProblemBody, Query, Reply, Service,
};

async fn list<B: CatalogueBody + Sync>(
    service: &Service,
    page: &PageQuery,
    query: StateQuery,
) -> Answer {
    let asked = page.page(service.limits())?;
    let rows = service
        .read(move |conn| entry_list::<B>(conn, asked, query.state))
        .await?;
    let list = List::from_rows(rows, asked, |row| row.id);
    let mut address = format!("{}?limit={}", B::NOUN.path(), asked.limit);
    if let Some(state) = query.state {
        address.push_str(&format!("&state={}", state.as_str()));
    }
    list.answer(&address)
}

async fn show<B: CatalogueBody>(service: &Service, code: String) -> Answer {
    let shown: EntryOut<B> = service.read(move |conn| entry_show(conn, &code)).await?;
    Ok(Reply::ok(&shown)?
        .with_version(shown.version)
        .into_response())
}

async fn create<B: CatalogueBody>(service: &Service, body: Body<B>) -> Answer {
    let (body, request) = body.split();
    service
        .write(request, move |tx| {
            let shown = entry_create(tx, body)?;
            let address = format!("{}/{}", B::NOUN.path(), shown.body.code());
            Ok(Reply::created(address, &shown)?.with_version(shown.version))
        })
        .await
}

async fn change<B: CatalogueBody>(
    service: &Service,
    code: String,
    if_match: IfMatch,
    body: Body<MergePatch<B>>,
) -> Answer {
    let (patch, request) = body.split();
    service
        .write(request, move |tx| {
            let shown = entry_change(tx, &code, patch, &if_match)?;
            Ok(Reply::ok(&shown)?.with_version(shown.version))
        })
        .await
}

async fn retire<B: CatalogueBody>(service: &Service, code: String, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            let shown = entry_retire::<B>(tx, &code)?;
            Ok(Reply::ok(&shown)?.with_version(shown.version))
        })
        .await
}

/// The five handlers of a noun. Paths and words come as literals, since the attributes read them as they stand.
macro_rules! noun_handlers {
    ($body:ident, $one:tt, $many:tt, $list_path:tt, $entry_path:tt, $retire_path:tt:
     $entry:ident, $page:ident, $patch:ident;
     $list:ident, $create:ident, $show:ident, $change:ident, $retire:ident) => {
        // The documentation names a schema by a plain word only.
        type $entry = EntryOut<$body>;
        type $page = EntryPage<$body>;
        type $patch = MergePatch<$body>;

        #[utoipa::path(
            tag = "catalogue",
            summary = concat!("List the ", $many),
            description = "Oldest first, those that were retired too unless `state` says otherwise.",
            params(PageQuery, StateQuery),
            responses(
                (status = 200, description = "A page of the list", body = $page),
                (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
                (status = 401, description = "No valid token", body = ProblemBody, content_type = "application/problem+json"),
                (status = 403, description = "The token lacks the role", body = ProblemBody, content_type = "application/problem+json"),
            ),
            security(("bearer" = []))
        )]
        #[get($list_path)]
        async fn $list(service: Data<Service>, page: Query<PageQuery>, query: Query<StateQuery>) -> Answer {
            list::<$body>(&service, &page, *query).await
        }

        #[utoipa::path(
            tag = "catalogue",
            summary = concat!("Create ", $one),
            description = "The code never changes and is never given again.",
            params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
            request_body = $body,
            responses(
                (status = 201, description = "It was created", body = $entry,
                 headers(("Location" = String, description = "Its address"), ("ETag" = String, description = "Its version"))),
                (status = 400, description = "The body is not well-formed JSON", body = ProblemBody, content_type = "application/problem+json"),
                (status = 401, description = "No valid token", body = ProblemBody, content_type = "application/problem+json"),
                (status = 403, description = "The token lacks the role", body = ProblemBody, content_type = "application/problem+json"),
                (status = 409, description = "The code is or was taken, or something it names is retired", body = ProblemBody, content_type = "application/problem+json"),
                (status = 413, description = "The body is too long", body = ProblemBody, content_type = "application/problem+json"),
                (status = 415, description = "The body is not JSON", body = ProblemBody, content_type = "application/problem+json"),
                (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
            ),
            security(("bearer" = []))
        )]
        #[post($list_path)]
        async fn $create(service: Data<Service>, body: Body<$body>) -> Answer {
            create(&service, body).await
        }

        #[utoipa::path(
            tag = "catalogue",
            summary = concat!("Read ", $one),
            params(("code" = String, Path, description = "Its code")),
            responses(
                (status = 200, description = "It", body = $entry, headers(("ETag" = String, description = "Its version"))),
                (status = 401, description = "No valid token", body = ProblemBody, content_type = "application/problem+json"),
                (status = 403, description = "The token lacks the role", body = ProblemBody, content_type = "application/problem+json"),
                (status = 404, description = "There is none", body = ProblemBody, content_type = "application/problem+json"),
            ),
            security(("bearer" = []))
        )]
        #[get($entry_path)]
        async fn $show(service: Data<Service>, code: Path<String>) -> Answer {
            show::<$body>(&service, code.into_inner()).await
        }

        #[utoipa::path(
            tag = "catalogue",
            summary = concat!("Change ", $one),
            description = "A merge patch (RFC 7396) against the version named in `If-Match`.",
            params(
                ("code" = String, Path, description = "Its code"),
                ("If-Match" = String, Header, description = "The `ETag` that was read"),
            ),
            request_body(content = $patch, content_type = "application/merge-patch+json"),
            responses(
                (status = 200, description = "It was changed", body = $entry, headers(("ETag" = String, description = "Its version"))),
                (status = 400, description = "The body is not well-formed JSON", body = ProblemBody, content_type = "application/problem+json"),
                (status = 401, description = "No valid token", body = ProblemBody, content_type = "application/problem+json"),
                (status = 403, description = "The token lacks the role", body = ProblemBody, content_type = "application/problem+json"),
                (status = 404, description = "There is none", body = ProblemBody, content_type = "application/problem+json"),
                (status = 409, description = "It, or something it newly names, is retired", body = ProblemBody, content_type = "application/problem+json"),
                (status = 412, description = "It has changed meanwhile", body = ProblemBody, content_type = "application/problem+json"),
                (status = 413, description = "The body is too long", body = ProblemBody, content_type = "application/problem+json"),
                (status = 415, description = "The body is not JSON", body = ProblemBody, content_type = "application/problem+json"),
                (status = 422, description = "A value is not right, or a field never changes", body = ProblemBody, content_type = "application/problem+json"),
                (status = 428, description = "`If-Match` is missing", body = ProblemBody, content_type = "application/problem+json"),
            ),
            security(("bearer" = []))
        )]
        #[patch($entry_path)]
        async fn $change(service: Data<Service>, code: Path<String>, if_match: IfMatch, body: Body<MergePatch<$body>>) -> Answer {
            change(&service, code.into_inner(), if_match, body).await
        }

        #[utoipa::path(
            tag = "catalogue",
            summary = concat!("Retire ", $one),
            description = "Nothing new may name it from now on; it stays readable. Retiring twice changes nothing.",
            params(
                ("code" = String, Path, description = "Its code"),
                ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
            ),
            responses(
                (status = 200, description = "It is retired", body = $entry, headers(("ETag" = String, description = "Its version"))),
                (status = 401, description = "No valid token", body = ProblemBody, content_type = "application/problem+json"),
                (status = 403, description = "The token lacks the role", body = ProblemBody, content_type = "application/problem+json"),
                (status = 404, description = "There is none", body = ProblemBody, content_type = "application/problem+json"),
                (status = 409, description = "It is in use; `used_by` says by what", body = ProblemBody, content_type = "application/problem+json"),
            ),
            security(("bearer" = []))
        )]
        #[post($retire_path)]
        async fn $retire(service: Data<Service>, code: Path<String>, request: NoBody) -> Answer {
            retire::<$body>(&service, code.into_inner(), request).await
        }
    };
}

noun_handlers!(MaterialBody, "a material", "materials", "/v1/materials", "/v1/materials/{code}", "/v1/materials/{code}/retire":
    MaterialEntry, MaterialPage, MaterialPatch;
    material_list, material_create, material_show, material_change, material_retire);
noun_handlers!(ElastomerBody, "an elastomer", "elastomers", "/v1/elastomers", "/v1/elastomers/{code}", "/v1/elastomers/{code}/retire":
    ElastomerEntry, ElastomerPage, ElastomerPatch;
    elastomer_list, elastomer_create, elastomer_show, elastomer_change, elastomer_retire);
noun_handlers!(KitBody, "a kit", "kits", "/v1/kits", "/v1/kits/{code}", "/v1/kits/{code}/retire":
    KitEntry, KitPage, KitPatch;
    kit_list, kit_create, kit_show, kit_change, kit_retire);
noun_handlers!(MoldBody, "a mold", "molds", "/v1/molds", "/v1/molds/{code}", "/v1/molds/{code}/retire":
    MoldEntry, MoldPage, MoldPatch;
    mold_list, mold_create, mold_show, mold_change, mold_retire);
noun_handlers!(RecipeBody, "a recipe", "recipes", "/v1/recipes", "/v1/recipes/{code}", "/v1/recipes/{code}/retire":
    RecipeEntry, RecipePage, RecipePatch;
    recipe_list, recipe_create, recipe_show, recipe_change, recipe_retire);
noun_handlers!(GrantBody, "a grant", "grants", "/v1/grants", "/v1/grants/{code}", "/v1/grants/{code}/retire":
    GrantEntry, GrantPage, GrantPatch;
    grant_list, grant_create, grant_show, grant_change, grant_retire);
noun_handlers!(SupplierBody, "a supplier", "suppliers", "/v1/suppliers", "/v1/suppliers/{code}", "/v1/suppliers/{code}/retire":
    SupplierEntry, SupplierPage, SupplierPatch;
    supplier_list, supplier_create, supplier_show, supplier_change, supplier_retire);

macro_rules! serve {
    ($cfg:ident: $($handler:ident)*) => { $( $cfg.service($handler); )* };
}

/// Adds the catalogue's operations.
pub fn routes(cfg: &mut ServiceConfig) {
    serve!(cfg: material_list material_create material_show material_change material_retire);
    serve!(cfg: elastomer_list elastomer_create elastomer_show elastomer_change elastomer_retire);
    serve!(cfg: kit_list kit_create kit_show kit_change kit_retire);
    serve!(cfg: mold_list mold_create mold_show mold_change mold_retire);
    serve!(cfg: recipe_list recipe_create recipe_show recipe_change recipe_retire);
    serve!(cfg: grant_list grant_create grant_show grant_change grant_retire);
    serve!(cfg: supplier_list supplier_create supplier_show supplier_change supplier_retire);
}
