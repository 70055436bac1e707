//! One registration in full: what is missing, the data, the serial list, and the files.

use leptos::prelude::*;

use super::view_model::{RegistrationRow, Unit};
use super::words::{contradiction, deadline, missing};
use crate::features::desk::DownloadButton;
use crate::features::words::unit_in_slot;
use crate::i18n::Words;
use crate::routes::Screen;
use crate::t;
use crate::ui::{Banner, Chip, Icon, LinkButton, Table, Tone};

/// The panel beside the list.
pub fn details(w: Words, row: &RegistrationRow, close: UnsyncCallback<()>) -> AnyView {
    let job = row.job;
    let lacks = (!row.missing.is_empty()).then(|| {
        let line = |own: &super::view_model::Missing| view! { <li>{missing(w, row, *own)}</li> };
        let lines = row.missing.iter().map(line).collect_view();
        view! {
            <Banner tone=Tone::Caution title=t!(w, "registration.still_missing")>
                <ul class="stack bullets" data-testid="missing">{lines}</ul>
            </Banner>
        }
    });
    let complete = row
        .complete
        .then(|| view! { <Banner tone=Tone::Good><p>{t!(w, "registration.complete_explain")}</p></Banner> });
    let contradictions = (!row.out_of_order.is_empty()).then(|| {
        let line = |(earlier, later): &(_, _)| view! { <li>{contradiction(w, *earlier, *later)}</li> };
        let lines = row.out_of_order.iter().map(line).collect_view();
        view! { <Banner tone=Tone::Caution><ul class="stack">{lines}</ul></Banner> }
    });
    let due = row.deadline.as_ref().map(|own| {
        let (label, tone) = deadline(w, own);
        view! { <Chip label tone icon=Icon::Calendar /> }
    });
    let day = |day: &Option<String>| day.as_deref().map(|day| w.day_text(day)).unwrap_or_default();
    let fields = [
        (t!(w, "registration.installer"), row.installer.clone()),
        (t!(w, "plan.householder"), row.householder.clone()),
        (t!(w, "plan.street"), row.street.clone()),
        (t!(w, "plan.town"), row.town.clone()),
        (t!(w, "plan.phone"), row.phone.clone()),
        (t!(w, "plan.email"), row.email.clone()),
        (t!(w, "plan.grid_point"), row.grid_point.clone()),
        (t!(w, "registration.installed_on"), day(&row.installed_on)),
        (t!(w, "registration.commissioned_on"), day(&row.commissioned_on)),
        (t!(w, "registration.grid_profile"), row.grid_profile.clone().unwrap_or_default()),
        (t!(w, "registration.firmware"), row.firmware.clone().unwrap_or_default()),
    ];
    let field = |(name, value): (&'static str, String)| {
        let value = if value.is_empty() {
            view! { <span class="soft">{t!(w, "registration.not_there")}</span> }.into_any()
        } else {
            value.into_any()
        };
        view! { <div><dt>{name}</dt><dd dir="auto">{value}</dd></div> }
    };
    let short = row.short.clone();
    let heading =
        if row.householder.is_empty() { t!(w, "crew.job_number", number = row.short) } else { row.householder.clone() };
    view! {
        <section class="card panel" aria-labelledby="registration-title" data-testid="registration">
            <div class="row">
                <h2 class="fill" id="registration-title" dir="auto">{heading}</h2>
                {due}
                <button type="button" class="act quiet" on:click=move |_| close.run(())>{t!(w, "ui.close")}</button>
            </div>
            {lacks}
            {complete}
            {contradictions}
            <div class="row">
                <DownloadButton label=t!(w, "registration.csv") path=format!("/api/jobs/{job}/registration.csv") file=format!("registration-{short}.csv") />
                <DownloadButton label=t!(w, "registration.json") path=format!("/api/jobs/{job}/registration.json") file=format!("registration-{short}.json") />
                <DownloadButton label=t!(w, "desk.report") path=format!("/api/jobs/{job}/report.pdf?language={}", w.lang.code()) file=format!("report-{short}.pdf") />
                <LinkButton label=t!(w, "registration.open_job") href=Screen::JobDesk(job).href() icon=Icon::Next />
            </div>
            {units(w, &row.units)}
            <dl class="facts">{fields.into_iter().map(field).collect_view()}</dl>
        </section>
    }
    .into_any()
}

fn units(w: Words, all: &[Unit]) -> AnyView {
    let row = |unit: &Unit| {
        let serial = match &unit.serial {
            Some(serial) => view! { <span class="serial">{serial.clone()}</span> }.into_any(),
            None => view! { <Chip label=t!(w, "registration.no_serial") tone=Tone::Caution /> }.into_any(),
        };
        let before = (!unit.new).then(|| view! { <span class="soft">{t!(w, "registration.was_there")}</span> });
        view! {
            <tr>
                <th scope="row">{unit_in_slot(w, unit.kind, unit.slot)}" "{before}</th>
                <td data-label=t!(w, "catalogue.model") dir="auto">{unit.maker.clone()}" "{unit.model.clone()}</td>
                <td data-label=t!(w, "catalogue.serial")>{serial}</td>
                <td data-label=t!(w, "catalogue.gtin") class="serial">{unit.gtin.clone().unwrap_or_default()}</td>
                <td data-label=t!(w, "ledger.lot")>{unit.lot.clone().unwrap_or_default()}</td>
                <td data-label=t!(w, "registration.labels") class="number">{unit.labels.len()}</td>
            </tr>
        }
    };
    let rows = all.iter().map(row).collect_view();
    let head = vec![
        t!(w, "registration.place").to_owned(),
        t!(w, "catalogue.model").to_owned(),
        t!(w, "catalogue.serial").to_owned(),
        t!(w, "catalogue.gtin").to_owned(),
        t!(w, "ledger.lot").to_owned(),
        t!(w, "registration.labels").to_owned(),
    ];
    view! { <Table caption=t!(w, "registration.units") head=head>{rows}</Table> }.into_any()
}
