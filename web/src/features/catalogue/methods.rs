//! Methods: which there are, and their paper sheets.

use leptos::prelude::*;

use crate::features::desk::DownloadButton;
use crate::i18n::use_words;
use crate::store::MethodLine;
use crate::t;
use crate::ui::{Empty, Icon, Table};

/// The list.
#[component]
pub fn Methods(
    /// Published methods.
    all: Vec<MethodLine>,
) -> impl IntoView {
    let w = use_words();
    if all.is_empty() {
        return view! { <Empty words=t!(w, "catalogue.no_methods") icon=Icon::List /> }.into_any();
    }
    let row = move |method: MethodLine| {
        let path = format!("/api/methods/{}/{}/sheet.pdf?language={}", method.id, method.version, w.lang.code());
        let file = format!("{}-{}.pdf", method.id, method.version);
        view! {
            <tr>
                <th scope="row" dir="auto">{method.title(w.lang.code()).to_owned()}</th>
                <td data-label=t!(w, "catalogue.version") class="number">{method.version}</td>
                <td data-label=t!(w, "catalogue.hash") class="serial">{method.hash.hex()[..12].to_owned()}</td>
                <td><DownloadButton label=t!(w, "catalogue.paper_sheet") path file /></td>
            </tr>
        }
    };
    let rows = all.into_iter().map(row).collect_view();
    let head = vec![
        t!(w, "catalogue.method").to_owned(),
        t!(w, "catalogue.version").to_owned(),
        t!(w, "catalogue.hash").to_owned(),
        String::new(),
    ];
    view! {
        <p class="soft">{t!(w, "catalogue.methods_explain")}</p>
        <Table caption=t!(w, "catalogue.methods") quiet=true head=head>{rows}</Table>
    }
    .into_any()
}
