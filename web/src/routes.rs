//! Every screen of the app: its address, who may see it, what draws it, and which rooms the menu shows.
//!
//! A new screen is a variant of [`Screen`] and a line each in `parse`, `href`, `access`, `draw` and the part that draws it; a room of the menu is a line in
//! [`ROOMS`]. What can stand in the address (job, step, filter) stands there; filters are query parameters of the page.

use domain::ids::{JobId, PersonId};
use domain::people::Role;
use leptos::prelude::*;

use crate::features::{
    catalogue, crew_plan, day_sheet, design_sheet, job, job_desk, job_list, plan_job, registration_desk, serial_ledger,
    session, step, tray,
};
use crate::i18n::Key;
use crate::key;
use crate::parts::Part;
use crate::ui::Icon;

/// A place in the app.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Screen {
    /// Where somebody begins; chosen by their roles.
    Home,
    /// All rooms, and the person's own things.
    Menu,
    /// Sign in.
    SignIn,
    /// A one-time link: first owner, invitation, new password.
    Link(String),
    /// Leave.
    SignOut,
    /// Own language, numbers, light, devices.
    Settings,
    /// Version and cautions.
    About,
    /// Everyone of the firm.
    People,
    /// One of them.
    Person(PersonId),
    /// The technician's jobs of the day.
    DaySheet,
    /// A job on the phone.
    Job(JobId),
    /// A step of a job; the step's id is the method's, the slot 0 where it is not repeated.
    Step(JobId, String, u16),
    /// What is not yet with the server.
    Tray,
    /// The lead's people, days and jobs.
    CrewPlan,
    /// Every job, to be found.
    JobList,
    /// Plan a new job.
    PlanNew,
    /// Change the plan of a job.
    PlanJob(JobId),
    /// A job on a desk.
    JobDesk(JobId),
    /// The design of a job.
    DesignSheet(JobId),
    /// The tests of a job in their order, with limits and readings.
    TestSheet(JobId),
    /// The office's queue.
    RegistrationDesk,
    /// Every unit.
    SerialLedger,
    /// Models.
    Catalogue,
    /// The firm's own rule sets.
    RuleSets,
    /// No such address.
    Nowhere,
}

/// Who may see a screen. It hides what is of no use; what may be *done* is asked of `domain::people::may`, by the server too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// Anybody, signed in or not.
    Anybody,
    /// Whoever has a profile on this device.
    Person,
    /// One of these roles.
    Roles(&'static [Role]),
}

const LEADING: &[Role] = &[Role::Owner, Role::Lead];
const DESK: &[Role] = &[Role::Owner, Role::Lead, Role::Office];

impl Screen {
    /// Reads a path.
    pub fn parse(path: &str) -> Self {
        let parts: Vec<&str> = path.split('/').filter(|part| !part.is_empty()).collect();
        let job = |id: &str, screen: fn(JobId) -> Self| id.parse().map_or(Self::Nowhere, screen);
        match parts.as_slice() {
            [] => Self::Home,
            ["menu"] => Self::Menu,
            ["sign-in"] => Self::SignIn,
            ["link", token] => Self::Link((*token).to_owned()),
            ["sign-out"] => Self::SignOut,
            ["settings"] => Self::Settings,
            ["about"] => Self::About,
            ["people"] => Self::People,
            ["people", id] => id.parse().map_or(Self::Nowhere, Self::Person),
            ["day"] => Self::DaySheet,
            ["jobs"] => Self::JobList,
            ["jobs", id] => job(id, Self::Job),
            ["jobs", id, "tests"] => job(id, Self::TestSheet),
            ["jobs", id, "steps", step, slot] => match (id.parse(), slot.parse()) {
                (Ok(id), Ok(slot)) => Self::Step(id, (*step).to_owned(), slot),
                _ => Self::Nowhere,
            },
            ["tray"] => Self::Tray,
            ["plan"] => Self::CrewPlan,
            ["plan", "new"] => Self::PlanNew,
            ["desk", id, "plan"] => job(id, Self::PlanJob),
            ["desk", id, "design"] => job(id, Self::DesignSheet),
            ["desk", id] => job(id, Self::JobDesk),
            ["registration"] => Self::RegistrationDesk,
            ["units"] => Self::SerialLedger,
            ["catalogue"] => Self::Catalogue,
            ["rule-sets"] => Self::RuleSets,
            _ => Self::Nowhere,
        }
    }

    /// Its address.
    pub fn href(&self) -> String {
        match self {
            Self::Home | Self::Nowhere => "/".to_owned(),
            Self::Menu => "/menu".to_owned(),
            Self::SignIn => "/sign-in".to_owned(),
            Self::Link(token) => format!("/link/{token}"),
            Self::SignOut => "/sign-out".to_owned(),
            Self::Settings => "/settings".to_owned(),
            Self::About => "/about".to_owned(),
            Self::People => "/people".to_owned(),
            Self::Person(id) => format!("/people/{id}"),
            Self::DaySheet => "/day".to_owned(),
            Self::Job(id) => format!("/jobs/{id}"),
            Self::Step(id, step, slot) => format!("/jobs/{id}/steps/{step}/{slot}"),
            Self::Tray => "/tray".to_owned(),
            Self::CrewPlan => "/plan".to_owned(),
            Self::JobList => "/jobs".to_owned(),
            Self::PlanNew => "/plan/new".to_owned(),
            Self::PlanJob(id) => format!("/desk/{id}/plan"),
            Self::JobDesk(id) => format!("/desk/{id}"),
            Self::DesignSheet(id) => format!("/desk/{id}/design"),
            Self::TestSheet(id) => format!("/jobs/{id}/tests"),
            Self::RegistrationDesk => "/registration".to_owned(),
            Self::SerialLedger => "/units".to_owned(),
            Self::Catalogue => "/catalogue".to_owned(),
            Self::RuleSets => "/rule-sets".to_owned(),
        }
    }

    /// Who may see it.
    pub const fn access(&self) -> Access {
        match self {
            Self::SignIn | Self::Link(_) | Self::About | Self::Nowhere => Access::Anybody,
            Self::Home | Self::Menu | Self::SignOut | Self::Settings | Self::Tray => Access::Person,
            Self::DaySheet | Self::Job(_) | Self::Step(..) | Self::TestSheet(_) => Access::Person,
            Self::CrewPlan | Self::PlanNew | Self::RuleSets => Access::Roles(LEADING),
            Self::JobList | Self::PlanJob(_) | Self::JobDesk(_) | Self::DesignSheet(_) => Access::Roles(DESK),
            Self::RegistrationDesk | Self::SerialLedger | Self::Catalogue => Access::Roles(DESK),
            Self::People | Self::Person(_) => Access::Roles(&[Role::Owner]),
        }
    }

    /// Stands alone, without menu and rail.
    pub const fn is_alone(&self) -> bool {
        matches!(self, Self::SignIn | Self::Link(_))
    }

    /// Its view, from whichever part of the app it belongs to.
    pub fn draw(self) -> AnyView {
        match self {
            Self::Home | Self::Menu => view! { <session::menu::MenuPage /> }.into_any(),
            Self::DaySheet => Part::Day.draw(self),
            Self::Nowhere => nowhere(),
            Self::Job(_) | Self::Step(..) | Self::TestSheet(_) => Part::Site.draw(self),
            Self::SignIn | Self::Link(_) | Self::SignOut | Self::Settings | Self::About | Self::Tray => {
                Part::Own.draw(self)
            }
            Self::People | Self::Person(_) | Self::CrewPlan | Self::PlanNew | Self::PlanJob(_) | Self::JobDesk(_) => {
                Part::Desk.draw(self)
            }
            Self::JobList
            | Self::DesignSheet(_)
            | Self::RegistrationDesk
            | Self::SerialLedger
            | Self::Catalogue
            | Self::RuleSets => Part::Desk.draw(self),
        }
    }
}

/// The screen of [`Part::Day`].
pub fn draw_day(screen: Screen) -> AnyView {
    match screen {
        Screen::DaySheet => view! { <day_sheet::page::DaySheetPage /> }.into_any(),
        _ => nowhere(),
    }
}

/// The screens of [`Part::Site`].
pub fn draw_site(screen: Screen) -> AnyView {
    match screen {
        Screen::Job(job) => view! { <job::page::JobPage job /> }.into_any(),
        Screen::Step(job, step, slot) => view! { <step::page::StepPage job step unit=slot /> }.into_any(),
        Screen::TestSheet(job) => view! { <design_sheet::test_page::TestSheetPage job /> }.into_any(),
        _ => nowhere(),
    }
}

/// The screens of [`Part::Own`].
pub fn draw_own(screen: Screen) -> AnyView {
    match screen {
        Screen::SignIn => view! { <session::sign_in::SignInPage /> }.into_any(),
        Screen::Link(token) => view! { <session::link::LinkPage token /> }.into_any(),
        Screen::SignOut => view! { <session::sign_out::SignOutPage /> }.into_any(),
        Screen::Settings => view! { <session::settings::SettingsPage /> }.into_any(),
        Screen::About => view! { <session::about::AboutPage /> }.into_any(),
        Screen::Tray => view! { <tray::page::TrayPage /> }.into_any(),
        _ => nowhere(),
    }
}

/// The screens of [`Part::Desk`].
pub fn draw_desk(screen: Screen) -> AnyView {
    match screen {
        Screen::People => view! { <session::people::PeoplePage /> }.into_any(),
        Screen::Person(id) => view! { <session::person::PersonPage id /> }.into_any(),
        Screen::CrewPlan => view! { <crew_plan::page::CrewPlanPage /> }.into_any(),
        Screen::JobList => view! { <job_list::page::JobListPage /> }.into_any(),
        Screen::PlanNew => view! { <plan_job::page::PlanJobPage job=None /> }.into_any(),
        Screen::PlanJob(id) => view! { <plan_job::page::PlanJobPage job=Some(id) /> }.into_any(),
        Screen::JobDesk(job) => view! { <job_desk::page::JobDeskPage job /> }.into_any(),
        Screen::DesignSheet(job) => view! { <design_sheet::page::DesignSheetPage job /> }.into_any(),
        Screen::RegistrationDesk => view! { <registration_desk::page::RegistrationDeskPage /> }.into_any(),
        Screen::SerialLedger => view! { <serial_ledger::page::SerialLedgerPage /> }.into_any(),
        Screen::Catalogue => view! { <catalogue::page::CataloguePage /> }.into_any(),
        Screen::RuleSets => view! { <design_sheet::own_rules_page::OwnRulesPage /> }.into_any(),
        _ => nowhere(),
    }
}

/// What is drawn where there is nothing.
pub fn nowhere() -> AnyView {
    view! { <session::menu::NowherePage words=key!("page.not_found") /> }.into_any()
}

impl Access {
    /// May somebody with these roles (`None`: nobody) see it?
    pub fn admits(self, roles: Option<&[Role]>) -> bool {
        match (self, roles) {
            (Self::Anybody, _) | (Self::Person, Some(_)) => true,
            (Self::Person | Self::Roles(_), None) => false,
            (Self::Roles(needed), Some(held)) => needed.iter().any(|role| held.contains(role)),
        }
    }
}

/// An entry of the menu and of the rail.
#[derive(Clone, Debug)]
pub struct Room {
    /// Where it leads.
    pub screen: Screen,
    /// Its name.
    pub name: Key,
    /// Its picture.
    pub icon: Icon,
    /// Is it an everyday room for these roles? (Access may be wider: an owner can look at the day sheet of nobody.)
    pub roles: &'static [Role],
}

/// The rooms, in the order in which the menu shows them.
pub const ROOMS: &[Room] = &[
    Room { screen: Screen::DaySheet, name: key!("screen.day_sheet"), icon: Icon::List, roles: &[Role::Technician] },
    Room { screen: Screen::CrewPlan, name: key!("screen.crew_plan"), icon: Icon::Calendar, roles: LEADING },
    Room { screen: Screen::JobList, name: key!("screen.jobs"), icon: Icon::Search, roles: DESK },
    Room {
        screen: Screen::RegistrationDesk,
        name: key!("screen.registration_desk"),
        icon: Icon::Register,
        roles: DESK,
    },
    Room { screen: Screen::SerialLedger, name: key!("screen.serial_ledger"), icon: Icon::Scan, roles: DESK },
    Room { screen: Screen::Catalogue, name: key!("screen.catalogue"), icon: Icon::Box, roles: DESK },
    Room { screen: Screen::RuleSets, name: key!("screen.rule_sets"), icon: Icon::Rules, roles: LEADING },
    Room { screen: Screen::Tray, name: key!("screen.tray"), icon: Icon::Tray, roles: &Role::ALL },
    Room { screen: Screen::People, name: key!("people.title"), icon: Icon::People, roles: &[Role::Owner] },
];

/// The rooms of somebody with these roles.
pub fn rooms_of(roles: &[Role]) -> impl Iterator<Item = &'static Room> {
    ROOMS.iter().filter(move |room| room.roles.iter().any(|role| roles.contains(role)))
}

/// Where somebody begins: the one room of their work; whoever has several gets the menu.
pub fn home_of(roles: &[Role]) -> Screen {
    const PLACES: [(Role, Screen); 3] = [
        (Role::Technician, Screen::DaySheet),
        (Role::Lead, Screen::CrewPlan),
        (Role::Office, Screen::RegistrationDesk),
    ];
    let mut own = PLACES.into_iter().filter(|(role, _)| roles.contains(role)).map(|(_, screen)| screen);
    match (own.next(), own.next()) {
        (Some(screen), None) if ROOMS.iter().any(|room| room.screen == screen) => screen,
        _ => Screen::Menu,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::people::{Action, Ownership, may};

    fn some_of_each() -> Vec<Screen> {
        let id = "0198c2a0-0000-7000-8000-000000000001";
        let (job, person) = (id.parse().expect("a UUID"), id.parse().expect("a UUID"));
        vec![
            Screen::Home,
            Screen::Menu,
            Screen::SignIn,
            Screen::Link("abc".to_owned()),
            Screen::SignOut,
            Screen::Settings,
            Screen::About,
            Screen::People,
            Screen::Person(person),
            Screen::DaySheet,
            Screen::Job(job),
            Screen::Step(job, "torque-busbar".to_owned(), 3),
            Screen::Tray,
            Screen::CrewPlan,
            Screen::JobList,
            Screen::PlanNew,
            Screen::PlanJob(job),
            Screen::JobDesk(job),
            Screen::DesignSheet(job),
            Screen::TestSheet(job),
            Screen::RegistrationDesk,
            Screen::SerialLedger,
            Screen::Catalogue,
            Screen::RuleSets,
        ]
    }

    #[test]
    fn every_address_leads_back_to_its_screen() {
        for screen in some_of_each() {
            assert_eq!(Screen::parse(&screen.href()), screen);
        }
        assert_eq!(Screen::parse("/jobs/not-an-id"), Screen::Nowhere);
        assert_eq!(Screen::parse("/nowhere/at/all"), Screen::Nowhere);
    }

    #[test]
    fn nobody_sees_only_what_is_for_anybody() {
        let open: Vec<Screen> = some_of_each().into_iter().filter(|screen| screen.access().admits(None)).collect();
        assert_eq!(open, [Screen::SignIn, Screen::Link("abc".to_owned()), Screen::About]);
        assert!(!Screen::People.access().admits(Some(&[Role::Technician])));
        assert!(Screen::People.access().admits(Some(&[Role::Technician, Role::Owner])));
    }

    #[test]
    fn a_room_in_the_menu_can_be_entered() {
        for room in ROOMS {
            for role in room.roles {
                assert!(room.screen.access().admits(Some(&[*role])), "{room:?}");
            }
        }
    }

    /// A list of all jobs is for whoever may see a job that is not theirs; the server asks the same table.
    #[test]
    fn the_list_of_jobs_is_for_whoever_may_see_the_firms_jobs() {
        for role in Role::ALL {
            let may_see = may(&[role], Action::SeeJob, Ownership::Firm).is_some();
            assert_eq!(Screen::JobList.access().admits(Some(&[role])), may_see, "{role:?}");
            assert_eq!(rooms_of(&[role]).any(|room| room.screen == Screen::JobList), may_see, "{role:?}");
        }
    }

    #[test]
    fn no_two_rooms_have_the_same_picture() {
        // What stands below the rooms in the rail and in the menu.
        let own_things = [Icon::Settings, Icon::Info, Icon::Leave];
        let all: Vec<Icon> = ROOMS.iter().map(|room| room.icon).chain(own_things).collect();
        for (index, one) in all.iter().enumerate() {
            assert!(!all[index + 1..].contains(one), "{one:?} twice");
        }
    }

    #[test]
    fn several_roles_begin_at_the_menu() {
        assert_eq!(home_of(&[Role::Technician, Role::Lead]), Screen::Menu);
        assert_eq!(home_of(&[Role::Owner]), Screen::Menu);
    }
}
