//! Who may see and who may press.
//!
//! * The `Host` of a request must be this machine by a numeric address, or `localhost`: a name that an
//!   attacker has pointed here (DNS rebinding) is refused (RFC 9110, 7.2 names the field).
//! * A press must come from the page itself: `Origin` and `Sec-Fetch-Site` where the browser sends them
//!   (Fetch Standard, and W3C Fetch Metadata), and a header that a form of another site cannot send
//!   without being asked first (CORS preflight), which nothing here answers.
//! * A shared page wants a code to see and another to press. They travel in address and header, never in
//!   a cookie, so no other page can make a browser use them.

use super::codes::Codes;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use std::net::IpAddr;

/// Carries the code to press; on this machine alone its presence is enough.
pub const PRESS_HEADER: &str = "x-evenbreath-press";
const FETCH_SITE: &str = "sec-fetch-site";

/// Everything that every answer says of itself.
const SAID: [(HeaderName, &str); 6] = [
    (
        CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (X_FRAME_OPTIONS, "DENY"),
    (REFERRER_POLICY, "no-referrer"),
    (CACHE_CONTROL, "no-store"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// A refusal: the status and words for the person.
pub type Refused = (StatusCode, &'static str);

/// What is asked of a request.
#[derive(Debug, Clone)]
pub struct Guard {
    /// The port that is served.
    pub port: u16,
    /// Bound beyond this machine: the codes.
    pub codes: Option<Codes>,
}

impl Guard {
    /// Puts what every answer says into its headers.
    pub fn harden(headers: &mut HeaderMap) {
        for (name, value) in SAID {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }

    /// The host that was asked for must be this one.
    pub fn host(&self, headers: &HeaderMap) -> Result<(), Refused> {
        let mut hosts = headers.get_all(HOST).iter();
        let host = hosts.next().and_then(|host| host.to_str().ok());
        let known = host.is_some_and(|host| self.is_here(host)) && hosts.next().is_none();
        let refused = "this page is not known by that name; open the address that was printed";
        known.then_some(()).ok_or((StatusCode::MISDIRECTED_REQUEST, refused))
    }

    fn is_here(&self, host: &str) -> bool {
        let Some((name, port)) = host.rsplit_once(':') else { return false };
        if port != self.port.to_string() {
            return false;
        }
        if name == "localhost" {
            return true;
        }
        let address: Option<IpAddr> = match name.strip_prefix('[') {
            Some(six) => six.strip_suffix(']').and_then(|six| six.parse().ok()),
            None => name.parse().ok(),
        };
        // Beyond this machine it has as many addresses as networks; a number cannot be rebound.
        address.is_some_and(|address| address.is_loopback() || self.codes.is_some())
    }

    /// Sees who has the code, and comes from the page itself.
    pub fn see(&self, query: Option<&str>) -> Result<(), Refused> {
        let Some(codes) = &self.codes else { return Ok(()) };
        let parts = query.unwrap_or("").split('&');
        let given = parts.filter_map(|part| part.strip_prefix("see=")).next();
        let refused =
            "the code is missing or of an earlier run; open the whole address that was printed";
        given
            .is_some_and(|given| codes.see.is(given))
            .then_some(())
            .ok_or((StatusCode::FORBIDDEN, refused))
    }

    /// No request of another site.
    pub fn same_site(&self, headers: &HeaderMap) -> Result<(), Refused> {
        let site = headers.get(FETCH_SITE).map(HeaderValue::as_bytes);
        let near = site.is_none_or(|site| site == b"same-origin" || site == b"none");
        let host = headers.get(HOST).and_then(|host| host.to_str().ok()).unwrap_or("");
        let own = headers
            .get(ORIGIN)
            .is_none_or(|origin| origin.as_bytes() == format!("http://{host}").as_bytes());
        (near && own)
            .then_some(())
            .ok_or((StatusCode::FORBIDDEN, "another site may not press; press on the page itself"))
    }

    /// Presses who has the code.
    pub fn press(&self, headers: &HeaderMap) -> Result<(), Refused> {
        self.same_site(headers)?;
        let given = headers.get(PRESS_HEADER).and_then(|code| code.to_str().ok());
        let may = match (&self.codes, given) {
            (_, None) => false,
            (None, Some(_)) => true,
            (Some(codes), Some(given)) => codes.press.is(given),
        };
        let refused = "this address is for looking only; open the one for pressing";
        may.then_some(()).ok_or((StatusCode::FORBIDDEN, refused))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hosts() {
        let alone = Guard { port: 8090, codes: None };
        let shared = Guard { port: 8090, codes: Some(Codes::new().unwrap()) };
        for here in ["127.0.0.1:8090", "localhost:8090", "[::1]:8090"] {
            assert!(alone.is_here(here) && shared.is_here(here), "{here}");
        }
        for away in ["example.org:8090", "127.0.0.1", "127.0.0.1:80", "", "localhost.example:8090"]
        {
            assert!(!alone.is_here(away) && !shared.is_here(away), "{away}");
        }
        assert!(!alone.is_here("192.0.2.7:8090") && shared.is_here("192.0.2.7:8090"));
    }
}
