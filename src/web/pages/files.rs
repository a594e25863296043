//! The lab's own files: taken in, and handed out as something to save, never as a page.

use super::reports::ReportPage;
use crate::{
    app,
    ids::{AttachmentId, ReportId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        view::{in_address, see},
    },
};
use axum::{
    extract::{
        Multipart, Path,
        multipart::{MultipartError, MultipartRejection},
    },
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};

/// `POST /reports/{report}/files`
pub async fn attach(
    cx: Cx,
    Path(report): Path<ReportId>,
    upload: std::result::Result<Multipart, MultipartRejection>,
) -> Result<Response> {
    let (name, bytes) = match upload {
        Ok(upload) => first_file(upload).await.map_err(|error| Error::from_status(error.status()))?,
        Err(_) => return Err(Error::from_status(StatusCode::BAD_REQUEST)),
    };
    match cx.app.attach_to_report(&cx.actor, report, &name, &bytes).await {
        Ok(_) => Ok(see(format!("/reports/{report}#files")).say("The file is kept with the sheet.").into_response()),
        Err(error @ app::Error::Invalid(_)) => ReportPage::refusing(&cx, report, error).await,
        Err(error) => Err(error.into()),
    }
}

/// Name and bytes of the field `file`; nothing where it is not there.
pub(super) async fn first_file(mut upload: Multipart) -> std::result::Result<(String, Vec<u8>), MultipartError> {
    while let Some(field) = upload.next_field().await? {
        if field.name() == Some("file") {
            let name = field.file_name().unwrap_or_default().to_owned();
            return Ok((name, field.bytes().await?.to_vec()));
        }
    }
    Ok((String::new(), vec![]))
}

/// The typed fields of a form that may carry a file, and the file, where one was chosen.
pub(super) async fn form_with_file(
    upload: std::result::Result<Multipart, MultipartRejection>,
) -> Result<(Form, Option<(String, Vec<u8>)>)> {
    let mut upload = upload.map_err(|_| Error::from_status(StatusCode::BAD_REQUEST))?;
    let (mut form, mut file) = (Form::new(), None);
    let refused = |error: MultipartError| Error::from_status(error.status());
    while let Some(field) = upload.next_field().await.map_err(refused)? {
        let (name, file_name) = (field.name().unwrap_or_default().to_owned(), field.file_name().map(str::to_owned));
        let bytes = field.bytes().await.map_err(refused)?;
        match file_name {
            // A browser sends a file field that was left empty, too.
            Some(file_name) if name == "file" => {
                file = Some((file_name, bytes.to_vec())).filter(|(name, bytes)| !(name.is_empty() && bytes.is_empty()));
            }
            _ => form.set(name, String::from_utf8_lossy(&bytes)),
        }
    }
    Ok((form, file))
}

/// `GET /files/{file}`
pub async fn send(cx: Cx, Path(id): Path<AttachmentId>) -> Result<Response> {
    let (row, bytes) = cx.app.file(&cx.actor, id).await?;
    if row.voided_at.is_some() {
        return Err(Error::not_found());
    }
    Ok(to_save(&row.name, row.media_type, bytes))
}

/// A file as something to save.
pub(super) fn to_save(name: &str, media_type: String, bytes: Vec<u8>) -> Response {
    let name = in_address(name).replace('/', "%2F");
    let mut response = bytes.into_response();
    for (header, value) in [
        (header::CONTENT_TYPE, media_type),
        (header::CONTENT_DISPOSITION, format!("attachment; filename*=UTF-8''{name}")),
    ] {
        let value = HeaderValue::from_str(&value).unwrap_or(HeaderValue::from_static("attachment"));
        response.headers_mut().insert(header, value);
    }
    response
}

/// `POST /files/{file}/void`
pub async fn void(cx: Cx, Path(id): Path<AttachmentId>, form: Form) -> Result<Response> {
    let (row, _) = cx.app.file(&cx.actor, id).await?;
    cx.app.void_file(&cx.actor, id, form.value("reason")).await?;
    let back = match (row.report, row.plot) {
        (Some(report), _) => format!("/reports/{report}#files"),
        (None, Some(plot)) => format!("/plots/{plot}"),
        (None, None) => "/".into(),
    };
    Ok(see(back).say("The file is removed; the history says so.").into_response())
}
