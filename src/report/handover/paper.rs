//! The sheet: head, sections in their order, style, and the document that the page carries.

use super::table::{name, shown};
use super::{Handover, HandoverError, Job, LogFile, Measured, Precondition, record};
use super::{answer, balance, breather, budget, hunt};
use crate::report::cautions::{self, Caution};
use crate::report::facts::{remark_line, shaking};
use crate::sample::Remark;
use crate::units::PressureUnit;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("page.css");

/// Nothing is fetched and nothing runs; the style stands in the page itself.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// The page: one HTML file that needs nothing else.
///
/// # Errors
/// The document cannot be written.
pub fn html(handover: &Handover) -> Result<String, HandoverError> {
    let sections = html! {
        (breather::section(handover))
        (balance::sections(handover))
        (hunt::section(handover))
        (hunt::turned(handover))
        (list("not-measured", "What was not measured", &answer::not_measured(handover)))
        (list("cautions", "Cautions", &cautions().map(|caution| caution.text().into()).collect::<Vec<_>>()))
        (logs(&handover.logs))
        (budget::section(handover))
    };
    let title = match &handover.job.car {
        Some(car) => format!("Carburettors and breather of {}", name(car)),
        None => "Carburettors and breather".into(),
    };
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            "\n"
            body {
                main {
                    (head(&title, &handover.job))
                    (list_of_words("answer", "In short", &answer::sentences(handover)))
                    (preconditions(&handover.preconditions))
                    (sections)
                }
                (record::block(handover)?)
            }
        }
        "\n"
    };
    Ok(page.into_string())
}

/// A section with its heading.
pub fn section(id: &str, title: &str, body: Markup) -> Markup {
    html! { section id=(id) { h2 { (title) } (body) } "\n" }
}

/// A chart. Its words are escaped by plotters, and its title by the chart; it names itself.
pub fn figure(svg: &str) -> Markup {
    html! { figure { (PreEscaped(svg)) } }
}

/// What shakes a result: whoever reads it has to read these with it.
pub fn minds(name: &str, log: Measured, own: &[Remark], unit: PressureUnit) -> Markup {
    let remarks = log.facts.remarks_with(own);
    html! {
        @for remark in shaking(&remarks) {
            p.mind { strong { "Mind (" (name) "):" } " " (shown(&remark_line(remark, unit))) }
        }
    }
}

/// Causes to check, likeliest first.
pub fn causes(causes: &[String]) -> Markup {
    html! {
        @if !causes.is_empty() {
            h3 { "Worth checking, likeliest first" }
            ul { @for cause in causes { li { (shown(cause)) } } }
        }
    }
}

/// A word with a capital.
pub fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn head(title: &str, job: &Job) -> Markup {
    let entries = [
        ("Customer", job.customer.clone()),
        ("Job", job.job.clone()),
        ("Date", job.date.clone()),
        ("Engine", job.engine.clone()),
        ("Cylinders", job.cylinders.map(|n| n.to_string())),
        ("Idle wanted", job.idle_target_rpm.map(|rpm| format!("{rpm:.0} rev/min"))),
    ];
    html! {
        header id="job" {
            h1 { (title) }
            dl {
                @for (entry, value) in entries {
                    @if let Some(value) = value { div { dt { (entry) } dd { bdi { (name(&value)) } } } }
                }
            }
            @if let Some(note) = &job.note { p.note { bdi { (shown(note)) } } }
        }
        "\n"
    }
}

fn list_of_words(id: &str, title: &str, sentences: &[String]) -> Markup {
    let body = html! {
        p.answer {
            @if sentences.is_empty() { "Nothing was measured." }
            @for sentence in sentences { (shown(sentence)) " " }
        }
    };
    section(id, title, body)
}

fn preconditions(all: &[Precondition]) -> Markup {
    let body = html! {
        ul.ticks {
            @for one in all {
                li {
                    span.box aria-hidden="true" { (if one.checked { "\u{2713}" } else { "" }) }
                    " " bdi { (name(&one.name)) } " "
                    span.said { (if one.checked { "(checked)" } else { "(not said)" }) }
                }
            }
        }
    };
    section("preconditions", "Seen to before measuring", body)
}

fn list(id: &str, title: &str, lines: &[String]) -> Markup {
    section(id, title, html! { ul { @for line in lines { li { (shown(line)) } } } })
}

/// The cautions: first that emission settings follow the law, then those of the work.
pub fn cautions() -> impl Iterator<Item = Caution> {
    let first = cautions::for_compare();
    let others =
        cautions::all().into_iter().filter(|caution| !cautions::for_compare().contains(caution));
    first.into_iter().chain(others)
}

fn logs(logs: &[LogFile]) -> Markup {
    let body = html! {
        p {
            "Made by evenbreath " (env!("CARGO_PKG_VERSION")) ". Whoever has the logs can check every figure: \
            put them beside this page and run "
            code { "evenbreath report --verify" } " with the name of this page."
        }
        table.logs {
            caption { "The logs and their SHA-256" }
            thead { tr { th scope="col" { "log" } th scope="col" { "given as" } th.num scope="col" { "bytes" } th scope="col" { "SHA-256" } } }
            tbody {
                @for log in logs {
                    tr {
                        th scope="row" { bdi { (name(&log.name)) } }
                        td { (log.given_as.join(", ")) }
                        td.num { (log.bytes) }
                        td { code { (log.sha256) } }
                    }
                }
            }
        }
    };
    section("logs", "Where the figures come from", body)
}
