//! The pictures beside the words: straight lines on a field of 24 by 24. An icon never stands alone; its word is beside it.

use leptos::prelude::*;

/// A picture that goes with a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Icon {
    /// Add.
    Add,
    /// Led around by leave: an allowed deviation.
    Around,
    /// Back to where this belongs.
    Back,
    /// Calendar, days.
    Calendar,
    /// Take a photo.
    Camera,
    /// The catalogue: a box.
    Box,
    /// Caution.
    Caution,
    /// Fails.
    Cross,
    /// Left out: does not apply, no longer in use.
    Dash,
    /// A device.
    Device,
    /// A document, a report.
    Document,
    /// Open, to be done.
    Dot,
    /// Change something.
    Edit,
    /// A gate, a hold point.
    Gate,
    /// Under way, or waits for somebody.
    Half,
    /// Information.
    Info,
    /// Leave.
    Leave,
    /// A lamp, a torch.
    Light,
    /// A list.
    List,
    /// Locked by something before it.
    Lock,
    /// Menu.
    Menu,
    /// Goes on to.
    Next,
    /// Not connected.
    Offline,
    /// People.
    People,
    /// Nobody can tell: not determined.
    Question,
    /// Register units with their maker: a sheet with a seal.
    Register,
    /// The rules of a place: a paragraph beside a measure.
    Rules,
    /// One person.
    Person,
    /// Scan a label.
    Scan,
    /// Look for.
    Search,
    /// Settings.
    Settings,
    /// A stack of units.
    Stack,
    /// Stop work.
    Stop,
    /// A tick: done, passes, sent.
    Tick,
    /// The tray: what waits to be sent.
    Tray,
    /// Turning: something is under way.
    Turning,
    /// A clock, a wait.
    Wait,
}

impl Icon {
    pub(super) const fn lines(self) -> &'static str {
        match self {
            Self::Add => "<path d='M12 4v16M4 12h16'/>",
            Self::Around => {
                "<path d='M2 15h5l2-7h6l2 7h5' stroke-width='3'/><circle cx='12' cy='16' r='2.5' fill='currentColor' stroke='none'/>"
            }
            Self::Back => "<path d='M20 12H5M11 5l-7 7 7 7'/>",
            Self::Calendar => "<path d='M3 6h18v15H3zM3 11h18M8 3v5M16 3v5'/>",
            Self::Camera => "<path d='M2 7h5l2-3h6l2 3h5v13H2z'/><circle cx='12' cy='13' r='4'/>",
            Self::Box => "<path d='M3 8l9-5 9 5v9l-9 5-9-5zM3 8l9 5 9-5M12 13v9'/>",
            Self::Caution => "<path d='M12 3 2 21h20zM12 10v5M12 18v.2'/>",
            Self::Cross => "<path d='M5 5l14 14M19 5 5 19' stroke-width='3.5'/>",
            Self::Dash => "<path d='M5 12h14' stroke-width='3'/>",
            Self::Device => "<path d='M6 2h12v20H6zM11 18.5h2'/>",
            Self::Document => "<path d='M5 2h9l5 5v15H5zM14 2v5h5M9 13h6M9 17h6'/>",
            Self::Dot => "<circle cx='12' cy='12' r='4' fill='currentColor' stroke='none'/>",
            Self::Edit => "<path d='M4 20l1-5L16 4l4 4L9 19zM13 7l4 4'/>",
            Self::Gate => "<path d='M4 21V6M20 21V6M2 9h20v5H2zM8 9l-3 5M14 9l-3 5M20 9l-3 5'/>",
            Self::Half => {
                "<circle cx='12' cy='12' r='9'/><path d='M12 3a9 9 0 0 0 0 18z' fill='currentColor' stroke='none'/>"
            }
            Self::Info => "<circle cx='12' cy='12' r='9.5'/><path d='M12 11v6M12 7v.2'/>",
            Self::Leave => "<path d='M14 3H4v18h10M9 12h12M16 7l5 5-5 5'/>",
            Self::Light => "<path d='M9 2h9l-2 6v14h-5V8zM9.500 8h7M3 4l3 1.500M2 10h3.500M3 16l3-1.500'/>",
            Self::List => "<path d='M3 6h2M9 6h12M3 12h2M9 12h12M3 18h2M9 18h12'/>",
            Self::Lock => "<path d='M4 11h16v10H4zM8 11V7a4 4 0 0 1 8 0v4M12 15v2'/>",
            Self::Menu => "<path d='M3 6h18M3 12h18M3 18h18'/>",
            Self::Next => "<path d='M9 4l8 8-8 8'/>",
            Self::Offline => "<path d='M3 21 21 3M5 13v-1c0-4 3-7 7-7M19 11c0 4-3 7-7 7'/>",
            Self::People => {
                "<circle cx='8' cy='8' r='4'/><path d='M1 21c0-5 3-7 7-7s7 2 7 7M15 4.5a4 4 0 0 1 0 7M18 14.5c3 1 5 3 5 6.5'/>"
            }
            Self::Person => "<circle cx='12' cy='7.5' r='4.5'/><path d='M3 22c0-5 4-7.5 9-7.500s9 2.5 9 7.5'/>",
            Self::Question => {
                "<path d='M7 8c0-3 2-5 5-5s5 2 5 4.500c0 3.500-5 3.500-5 7.500M12 20.500v.2' stroke-width='3'/>"
            }
            Self::Register => "<path d='M20 11V3H4v18h7M8 8h8M8 13h4'/><circle cx='17' cy='17.500' r='3.500'/>",
            Self::Rules => "<path d='M3 3h8v18H3zM3 8h4M3 12h4M3 16h4M15 6h6M15 12h6M15 18h6'/>",
            Self::Scan => "<path d='M3 8V3h5M16 3h5v5M21 16v5h-5M8 21H3v-5M7 8v8M11 8v8M14 8v8M17 8v8'/>",
            Self::Search => "<circle cx='10' cy='10' r='6.5'/><path d='M15 15l6 6'/>",
            Self::Settings => {
                "<path d='M3 7h9M18 7h3M3 17h3M12 17h9'/><circle cx='15' cy='7' r='2.7'/><circle cx='9' cy='17' r='2.7'/>"
            }
            Self::Stack => "<path d='M4 3h16v5H4zM4 9.500h16v5H4zM4 16h16v5H4zM8 5.500h2M8 12h2M8 18.500h2'/>",
            Self::Stop => "<path d='M8 2h8l6 6v8l-6 6H8l-6-6V8zM8 12h8'/>",
            Self::Tick => "<path d='M3 13l6 6L21 5' stroke-width='3.5'/>",
            Self::Tray => "<path d='M3 13v8h18v-8M3 13l3-9h12l3 9M3 13h5l1 3h6l1-3h5'/>",
            Self::Turning => "<path d='M20 12a8 8 0 1 1-3-6.200M18 2v4.500h-4.5'/>",
            Self::Wait => "<circle cx='12' cy='12' r='9.5'/><path d='M12 6v6l4 3'/>",
        }
    }
}

/// Draws an [`Icon`]; hidden from screen readers, for the word beside it says the same.
#[component]
pub fn Glyph(icon: Icon) -> impl IntoView {
    view! { <svg class="glyph" viewBox="0 0 24 24" aria-hidden="true" focusable="false" inner_html=icon.lines()></svg> }
}
