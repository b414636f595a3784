//! The gate that every request passes: host, session, role, and for forms where they come from.
//!
//! A browser can be led to us under a foreign name (which is then pointed at this machine), or by a
//! form on a foreign page. The first is refused by the name, the second by a token that only our own
//! pages have, and by the origin that browsers state.
//! Never in here: passwords.

use super::cookies::cookie_line;
use super::headers::{cookie, forwarded_for, host, is_from_here, is_passed_on, password, protect};
use super::sessions::{is_name, new_name};
use super::{Access, Peer, Role};
use crate::web::Page;
use crate::web::page::message;
use crate::web::paths;
use crate::web::serve::ASK_WITHIN;
use crate::web::texts::{self, Texts};
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Form, FromRequest, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use std::net::IpAddr;
use std::sync::Arc;

/// Longest form that is read; the longest note is a tenth of it.
const FORM_BYTES: usize = 16 << 10;

/// Somebody who has passed.
#[derive(Debug, Clone)]
pub struct Visit {
    /// What he may do; `None` before signing in.
    pub role: Option<Role>,
    /// Name of his session, if he has signed in.
    pub session: Option<String>,
    /// What a form has to carry.
    pub token: String,
    /// Where he comes from.
    pub from: IpAddr,
    /// In what he reads.
    pub t: &'static Texts,
    /// What he asked for.
    pub path: String,
}

impl Visit {
    /// Whether he may answer and plan.
    pub fn may_write(&self) -> bool {
        self.role == Some(Role::Technician)
    }
}

/// Lets a request through, or answers it.
pub async fn gate(State(page): State<Arc<Page>>, request: Request, next: Next) -> Response {
    let access = &page.access;
    let (mut head, body) = request.into_parts();
    let asked_for = Asked::of(&head);
    let t = language(access, &head.headers);
    let mut answer = match visit(access, &head, t).await {
        Err(refusal) => message::refused(&page, t, refusal, asked_for.is_for_programs),
        Ok((visit, seed)) => {
            let mut answer = match allowed(&page, &asked_for, &visit) {
                Some(refusal) => refusal,
                None => {
                    head.extensions.insert(visit.clone());
                    let request = match asked_for.is_for_programs && !is_look(&head.method) {
                        true => Err(StatusCode::METHOD_NOT_ALLOWED),
                        false => checked_form(head, body, &visit).await,
                    };
                    match request {
                        Ok(request) => next.run(request).await,
                        Err(status) => {
                            message::refused(&page, t, status, asked_for.is_for_programs)
                        }
                    }
                }
            };
            let has_forms =
                !asked_for.is_for_programs && !asked_for.path.starts_with(paths::ASSETS);
            if let Some(seed) = seed.filter(|_| has_forms) {
                let cookie = cookie_line(access, &access.form_cookie(), &seed);
                answer.headers_mut().append(header::SET_COOKIE, cookie);
            }
            answer
        }
    };
    protect(answer.headers_mut(), access.is_encrypted());
    answer
}

/// What kind of request it is.
struct Asked {
    path: String,
    is_open: bool,
    is_for_programs: bool,
}

impl Asked {
    fn of(head: &Parts) -> Self {
        let path = head.uri.path().to_owned();
        let under = |start: &str| path.starts_with(start);
        Self {
            is_open: path == paths::HEALTH
                || path == paths::SIGN_IN
                || path == paths::LANGUAGE
                || under(paths::ASSETS)
                || under(paths::LINK),
            is_for_programs: under(paths::API) || path == paths::METRICS || path == paths::HEALTH,
            path: head
                .uri
                .path_and_query()
                .map_or(path.clone(), |all| all.as_str().to_owned()),
        }
    }
}

/// Who it is, and what his forms are signed with, if that is new. It has a cookie of its own: browsers
/// that come from a mail do not show the one of the session, and must not lose it by being given
/// another.
async fn visit(
    access: &Access,
    head: &Parts,
    t: &'static Texts,
) -> Result<(Visit, Option<String>), StatusCode> {
    let headers = &head.headers;
    let peer = head.extensions.get::<Peer>().expect("the server says it").0;
    let from = match access.web.trusted_proxy {
        Some(_) => forwarded_for(headers).unwrap_or(peer.ip()),
        None => peer.ip(),
    };
    let host = host(headers, &head.uri).ok_or(StatusCode::MISDIRECTED_REQUEST)?;
    if !is_our_name(access, &host) {
        return Err(StatusCode::MISDIRECTED_REQUEST);
    }
    if !access.has_password() && is_passed_on(headers) {
        // A proxy makes everybody look like this machine, and everybody would be a technician.
        return Err(StatusCode::MISDIRECTED_REQUEST);
    }
    let named = |name: &str| cookie(headers, name).filter(|value| is_name(value));
    let known = named(&access.cookie());
    let now = crate::clock::monotonic();
    let role = match (access.has_password(), known) {
        (false, _) => Some(Role::Technician),
        (true, Some(name)) => access.sessions.role(name, now),
        (true, None) => None,
    };
    let role = match (role, password(headers)) {
        (None, Some(password)) if head.method == Method::GET => {
            let role = access.role_of_program(from, &password).await;
            Some(role.map_err(|refusal| match refusal {
                super::Refusal::TooOften(_) => StatusCode::TOO_MANY_REQUESTS,
                super::Refusal::WrongPassword => StatusCode::UNAUTHORIZED,
                super::Refusal::NoChance => StatusCode::INTERNAL_SERVER_ERROR,
            })?)
        }
        (role, _) => role,
    };
    let (seed, is_new) = match named(&access.form_cookie()) {
        Some(seed) => (seed.to_owned(), false),
        None => {
            let seed = new_name().map_err(|_| StatusCode::INTERNAL_SERVER_ERROR)?;
            (seed, true)
        }
    };
    let visit = Visit {
        role,
        session: known.map(str::to_owned),
        token: access.key.sign(&["form", &seed]),
        from,
        t,
        path: head
            .uri
            .path_and_query()
            .map_or_else(String::new, |all| all.as_str().to_owned()),
    };
    Ok((visit, is_new.then_some(seed)))
}

/// The language that was chosen; else that which the browser would rather have.
fn language(access: &Access, headers: &HeaderMap) -> &'static Texts {
    let chosen = cookie(headers, &access.language_cookie()).and_then(texts::of_code);
    chosen.unwrap_or_else(|| {
        let accepted = headers.get(header::ACCEPT_LANGUAGE);
        texts::preferred(
            accepted
                .and_then(|text| text.to_str().ok())
                .unwrap_or_default(),
        )
    })
}

/// Whether a name is one under which this page may be reached.
fn is_our_name(access: &Access, host: &str) -> bool {
    let is_this_machine = || matches!(host, "localhost" | "127.0.0.1" | "::1");
    match &access.web.host {
        Some(ours) => host == ours,
        None if access.web.listen.ip().is_loopback() => {
            is_this_machine() || host.parse() == Ok(access.web.listen.ip())
        }
        None => true,
    }
}

/// What is answered instead, where the visitor may not see it.
fn allowed(page: &Page, asked: &Asked, visit: &Visit) -> Option<Response> {
    if asked.is_open || visit.role.is_some() {
        return None;
    }
    if asked.is_for_programs {
        return Some(message::refused(
            page,
            visit.t,
            StatusCode::UNAUTHORIZED,
            true,
        ));
    }
    let to = paths::sign_in(&asked.path);
    Some(Redirect::to(&to).into_response())
}

/// A form comes from one of our pages, seen in the same session. Everything that is no form only
/// reads.
async fn checked_form(head: Parts, body: Body, visit: &Visit) -> Result<Request, StatusCode> {
    if is_look(&head.method) {
        return Ok(Request::from_parts(head, body));
    }
    if head.method != Method::POST {
        return Err(StatusCode::METHOD_NOT_ALLOWED);
    }
    if !is_from_here(&head.headers) {
        return Err(StatusCode::FORBIDDEN);
    }
    let bytes = whole_body(body).await?;
    let whole = || Request::from_parts(head.clone(), Body::from(bytes.clone()));
    let fields = Form::<Vec<(String, String)>>::from_request(whole(), &()).await;
    let Form(fields) = fields.map_err(|_| StatusCode::UNSUPPORTED_MEDIA_TYPE)?;
    let token = fields
        .iter()
        .find(|(name, _)| name == "token")
        .map(|(_, token)| token);
    if !token.is_some_and(|token| same(token, &visit.token)) {
        return Err(StatusCode::FORBIDDEN);
    }
    Ok(whole())
}

/// Whoever announces a form and does not send it is not waited for any longer than for its head.
async fn whole_body(body: Body) -> Result<Bytes, StatusCode> {
    match tokio::time::timeout(ASK_WITHIN, to_bytes(body, FORM_BYTES)).await {
        Ok(Ok(bytes)) => Ok(bytes),
        Ok(Err(_)) => Err(StatusCode::PAYLOAD_TOO_LARGE),
        Err(_) => Err(StatusCode::REQUEST_TIMEOUT),
    }
}

/// Whether it only reads.
fn is_look(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD)
}

/// Compares all of it, however early it differs.
fn same(a: &str, b: &str) -> bool {
    let differs = a
        .bytes()
        .zip(b.bytes())
        .fold(0, |bits, (a, b)| bits | (a ^ b));
    a.len() == b.len() && differs == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_form_that_never_comes_is_not_waited_for() {
        let never =
            Body::from_stream(futures_util::stream::pending::<Result<Bytes, std::io::Error>>());
        let given_up = whole_body(never).await;
        assert_eq!(given_up, Err(StatusCode::REQUEST_TIMEOUT));
        let long = whole_body(Body::from(vec![0; FORM_BYTES + 1])).await;
        assert_eq!(long, Err(StatusCode::PAYLOAD_TOO_LARGE));
        let right = whole_body(Body::from("token=7")).await;
        assert_eq!(right, Ok(Bytes::from("token=7")));
    }
}
