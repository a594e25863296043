//! What each person sets for themselves: the unit and form they read levels in, and their
//! own password. Nothing here changes the record of the soil.

use crate::{
    agronomy::liking::{LevelUnit, NutrientForm},
    app::people::{LikingForm, PasswordForm},
    web::{
        Server,
        error::Result,
        form::Form,
        guard::{Cx, with_session},
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// One's own settings.
#[derive(Template, WebTemplate)]
#[template(path = "pages/settings.html")]
pub struct SettingsPage {
    frame: Frame,
    reading: Form,
    password: Form,
}

impl SettingsPage {
    fn new(cx: &Cx) -> SettingsPage {
        let reading = Form::of(&LikingForm::from(cx.actor.liking));
        SettingsPage { frame: cx.frame("Your settings"), reading, password: Form::new() }
    }

    fn units(&self) -> Vec<(&'static str, &'static str)> {
        LevelUnit::ALL.iter().map(|unit| (unit.slug(), unit.label())).collect()
    }

    fn forms(&self) -> Vec<(&'static str, &'static str)> {
        NutrientForm::ALL.iter().map(|form| (form.slug(), form.label())).collect()
    }
}

/// `GET /settings`
pub async fn show(cx: Cx) -> SettingsPage {
    SettingsPage::new(&cx)
}

/// `POST /settings/reading`
pub async fn set_reading(cx: Cx, form: Form) -> Result<Response> {
    match cx.app.set_liking(&cx.actor, &form.read_as()?).await {
        Ok(()) => Ok(see("/settings").say("Saved. Levels are shown so from now on, to you alone.").into_response()),
        Err(error) => {
            let page = SettingsPage { reading: form.refused(error)?, ..SettingsPage::new(&cx) };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /settings/password`
pub async fn set_password(cx: Cx, State(server): State<Server>, form: Form) -> Result<Response> {
    let typed = PasswordForm {
        present: form.verbatim("present").into(),
        password: form.verbatim("password").into(),
        again: form.verbatim("again").into(),
    };
    match cx.app.change_own_password(&cx.actor, &typed).await {
        Ok(token) => {
            let said = "Your password is changed. Everywhere else you are signed out.";
            Ok(with_session(see("/settings").say(said), token.secret(), server.https))
        }
        Err(error) => {
            let page = SettingsPage { password: form.refused(error)?, ..SettingsPage::new(&cx) };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
