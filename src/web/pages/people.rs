//! Who may sign in and what they may do; for stewards.

use crate::{
    app::{Role, people::PersonRow},
    ids::PersonId,
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// Everybody, and a form to add one more.
#[derive(Template, WebTemplate)]
#[template(path = "pages/people.html")]
pub struct PeoplePage {
    frame: Frame,
    people: Vec<PersonRow>,
    /// The form to add somebody.
    form: Form,
    /// What is wrong with a change to somebody in the list.
    refusal: Vec<String>,
}

const ROLES: [(&str, &str); 3] = [
    (Role::Reader.slug(), "Reader: sees everything, changes nothing"),
    (Role::Recorder.slug(), "Recorder: enters results, plans and applications"),
    (Role::Steward.slug(), "Steward: also looks after ground, products and people"),
];

impl PeoplePage {
    async fn load(cx: &Cx) -> Result<PeoplePage> {
        let people = cx.app.people(&cx.actor).await?;
        Ok(PeoplePage {
            frame: cx.frame("People"),
            people,
            form: Form::filled([("role", "recorder")]),
            refusal: vec![],
        })
    }

    fn roles(&self) -> [(&'static str, &'static str); 3] {
        ROLES
    }
}

/// `GET /people`
pub async fn list(cx: Cx) -> Result<PeoplePage> {
    PeoplePage::load(&cx).await
}

/// `POST /people`
pub async fn add(cx: Cx, form: Form) -> Result<Response> {
    match cx.app.add_person(&cx.actor, &form.read_as()?).await {
        Ok(_) => Ok(see("/people").say(format!("{} may sign in.", form.value("name"))).into_response()),
        Err(error) => {
            let page = PeoplePage { form: form.refused(error)?, ..PeoplePage::load(&cx).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /people/{person}`: a new role, a new password, or an end to signing in, as `do` says.
pub async fn change(cx: Cx, Path(person): Path<PersonId>, form: Form) -> Result<Response> {
    let (done, said) = match form.value("do") {
        "edit" => (cx.app.edit_person(&cx.actor, person, &form.read_as()?).await, "Saved."),
        "disable" => (cx.app.disable_person(&cx.actor, person, true).await, "They can no longer sign in."),
        "enable" => (cx.app.disable_person(&cx.actor, person, false).await, "They may sign in again."),
        "password" => {
            let (present, new) = (form.verbatim("present"), form.verbatim("password"));
            (cx.app.change_password(&cx.actor, person, present, new).await, "The password is changed.")
        }
        _ => return Err(Error::from_status(StatusCode::BAD_REQUEST)),
    };
    match done {
        Ok(()) => Ok(see("/people").say(said).into_response()),
        Err(error) => {
            let refused = form.refused(error)?;
            let refusal = ["", "name", "role", "present", "password"];
            let refusal = refusal.iter().flat_map(|field| refused.problems(field)).cloned().collect();
            let page = PeoplePage { refusal, ..PeoplePage::load(&cx).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
