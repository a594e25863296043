//! What lists of organic schemes say of a product: noted on its page, with evidence.

use super::{
    amendments::{AmendmentPage, answer},
    files::{first_file, to_save},
};
use crate::{
    app,
    ids::{AmendmentId, ListStatusId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        view::see,
    },
};
use axum::{
    extract::{Multipart, Path, multipart::MultipartRejection},
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// `POST /amendments/{amendment}/lists`
pub async fn add(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let done = cx.app.add_list_status(&cx.actor, id, &form.read_as()?).await;
    answer(&cx, id, form, "list", done, "It is noted. The evidence can be kept beside it.").await
}

/// `POST /lists/{status}/file`
pub async fn attach(
    cx: Cx,
    Path(id): Path<ListStatusId>,
    upload: std::result::Result<Multipart, MultipartRejection>,
) -> Result<Response> {
    let (name, bytes) = match upload {
        Ok(upload) => first_file(upload).await.map_err(|error| Error::from_status(error.status()))?,
        Err(_) => return Err(Error::from_status(StatusCode::BAD_REQUEST)),
    };
    match cx.app.attach_to_list_status(&cx.actor, id, &name, &bytes).await {
        Ok(amendment) => Ok(see(format!("/amendments/{amendment}#lists")).say("The file is kept.").into_response()),
        Err(error @ app::Error::Invalid(_)) => {
            let rows = cx.app.list_statuses(&cx.actor).await?;
            let row = rows.iter().find(|row| row.id == id).ok_or_else(Error::not_found)?;
            let page = AmendmentPage::load(&cx, row.amendment).await?.refusing(Form::new().refused(error)?);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(error.into()),
    }
}

/// `GET /lists/{status}/file`
pub async fn evidence(cx: Cx, Path(id): Path<ListStatusId>) -> Result<Response> {
    let file = cx.app.list_evidence(&cx.actor, id).await?;
    Ok(to_save(&file.name, file.media_type, file.bytes))
}

/// `POST /lists/{status}/void`
pub async fn void(cx: Cx, Path(id): Path<ListStatusId>, form: Form) -> Result<Response> {
    let amendment = cx.app.void_list_status(&cx.actor, id, form.value("reason")).await?;
    Ok(see(format!("/amendments/{amendment}#lists")).say("It no longer counts; the history says so.").into_response())
}
