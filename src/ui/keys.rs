//! Every key of the keyboard and what it does: one table, read by the window and by the help page,
//! so that neither can forget one.

use eframe::egui::{Context, Event, Key, Modifiers};

use crate::base::FeedNumber;
use crate::ui::words;

/// What a key asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Shows the help page.
    Help,
    /// Shows the Watch view.
    Watch,
    /// Shows the Set-up view.
    Setup,
    /// Opens the source chooser.
    Source,
    /// Shows the far view.
    Far,
    /// Full screen and back.
    FullScreen,
    /// Acknowledges all alarms.
    Acknowledge,
    /// Opens the marks.
    Mark,
    /// Marks 'a quarter turn open' at once.
    MarkOpened,
    /// Marks 'a quarter turn closed' at once.
    MarkClosed,
    /// Starts or ends a run.
    Run,
    /// Sound on or off.
    Sound,
    /// The other look.
    Look,
    /// Chooses a feed, or none.
    Choose(Option<FeedNumber>),
    /// Back, or close.
    Back,
    /// Help: scrolls by so many tenths of the page.
    Scroll(i32),
    /// Set-up: undo.
    Undo,
    /// Set-up: redo.
    Redo,
    /// Set-up: removes the chosen outline.
    Remove,
    /// Set-up: chooses the next outline.
    Next,
    /// Set-up: chooses the outline before.
    Previous,
    /// Set-up: moves (or with Shift sizes) the outline by so many pixels.
    Nudge(i32, i32, Nudge),
    /// Set-up: turns the outline by so many tenths of a degree.
    Turn(i32),
}

/// What an arrow changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nudge {
    /// Place.
    Move,
    /// Size.
    Size,
}

/// Where a key works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// In every view.
    Everywhere,
    /// On the help page.
    InHelp,
    /// In the Set-up view, whatever has the focus but an entry field.
    InSetup,
    /// In the Set-up view while the picture has the focus.
    OnPicture,
}

/// One key.
#[derive(Clone, Copy, Debug)]
pub struct Binding {
    /// What it does.
    pub action: Action,
    /// Where.
    pub place: Where,
    /// Held with it.
    pub modifiers: Modifiers,
    /// The key.
    pub key: Key,
    /// How the key is written.
    pub cap: &'static str,
    /// What it does, for the help page; empty when an earlier line says it.
    pub told: &'static str,
}

const fn plain(action: Action, key: Key, cap: &'static str, told: &'static str) -> Binding {
    Binding {
        action,
        place: Where::Everywhere,
        modifiers: Modifiers::NONE,
        key,
        cap,
        told,
    }
}

const fn setup(
    action: Action,
    modifiers: Modifiers,
    key: Key,
    cap: &'static str,
    told: &'static str,
) -> Binding {
    Binding {
        action,
        place: Where::InSetup,
        modifiers,
        key,
        cap,
        told,
    }
}

const fn nudge(
    action: Action,
    modifiers: Modifiers,
    key: Key,
    cap: &'static str,
    told: &'static str,
) -> Binding {
    Binding {
        action,
        place: Where::OnPicture,
        modifiers,
        key,
        cap,
        told,
    }
}

const fn scroll(tenths: i32, key: Key, cap: &'static str, told: &'static str) -> Binding {
    Binding {
        action: Action::Scroll(tenths),
        place: Where::InHelp,
        modifiers: Modifiers::NONE,
        key,
        cap,
        told,
    }
}

const fn choose(number: u16, key: Key, cap: &'static str, told: &'static str) -> Binding {
    let feed = if number == 0 {
        None
    } else {
        Some(FeedNumber(number))
    };
    plain(Action::Choose(feed), key, cap, told)
}

/// All keys, in the order of the help page.
pub const BINDINGS: &[Binding] = &[
    plain(Action::Acknowledge, Key::A, "A", words::KEY_ACKNOWLEDGE),
    plain(Action::Mark, Key::M, "M", words::KEY_MARK),
    plain(Action::MarkOpened, Key::O, "O", words::KEY_MARK_OPENED),
    plain(Action::MarkClosed, Key::C, "C", words::KEY_MARK_CLOSED),
    choose(1, Key::Num1, words::CAP_FEEDS, words::KEY_CHOOSE),
    choose(2, Key::Num2, "", ""),
    choose(3, Key::Num3, "", ""),
    choose(4, Key::Num4, "", ""),
    choose(5, Key::Num5, "", ""),
    choose(6, Key::Num6, "", ""),
    choose(7, Key::Num7, "", ""),
    choose(8, Key::Num8, "", ""),
    choose(0, Key::Num0, "0", words::KEY_CHOOSE_NONE),
    plain(Action::Run, Key::R, "R", words::KEY_RUN),
    plain(Action::Sound, Key::N, "N", words::KEY_SOUND),
    plain(Action::Look, Key::L, "L", words::KEY_LOOK),
    plain(Action::Help, Key::F1, "F1", words::KEY_HELP),
    plain(Action::Watch, Key::F2, "F2", words::KEY_WATCH),
    plain(Action::Setup, Key::F3, "F3", words::KEY_SETUP),
    plain(Action::Source, Key::F4, "F4", words::KEY_SOURCE),
    plain(Action::Far, Key::F5, "F5", words::KEY_FAR),
    plain(Action::FullScreen, Key::F11, "F11", words::KEY_FULL_SCREEN),
    plain(Action::Back, Key::Escape, "Esc", words::KEY_BACK),
    scroll(8, Key::PageDown, words::CAP_PAGES, words::KEY_SCROLL),
    scroll(-8, Key::PageUp, "", ""),
    scroll(1, Key::ArrowDown, "", ""),
    scroll(-1, Key::ArrowUp, "", ""),
    setup(
        Action::Undo,
        Modifiers::COMMAND,
        Key::Z,
        words::CAP_UNDO,
        words::KEY_UNDO,
    ),
    setup(
        Action::Redo,
        Modifiers::COMMAND,
        Key::Y,
        words::CAP_REDO,
        words::KEY_REDO,
    ),
    setup(
        Action::Redo,
        Modifiers::COMMAND.plus(Modifiers::SHIFT),
        Key::Z,
        "",
        "",
    ),
    setup(
        Action::Next,
        Modifiers::NONE,
        Key::PageDown,
        words::CAP_PAGE_DOWN,
        words::KEY_NEXT,
    ),
    setup(
        Action::Previous,
        Modifiers::NONE,
        Key::PageUp,
        words::CAP_PAGE_UP,
        words::KEY_PREVIOUS,
    ),
    setup(
        Action::Remove,
        Modifiers::NONE,
        Key::Delete,
        words::CAP_DELETE,
        words::KEY_REMOVE,
    ),
    nudge(
        Action::Nudge(-1, 0, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowLeft,
        words::CAP_ARROWS,
        words::KEY_NUDGE,
    ),
    nudge(
        Action::Nudge(1, 0, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowRight,
        "",
        "",
    ),
    nudge(
        Action::Nudge(0, -1, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowUp,
        "",
        "",
    ),
    nudge(
        Action::Nudge(0, 1, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowDown,
        "",
        "",
    ),
    nudge(
        Action::Nudge(-1, 0, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowLeft,
        words::CAP_SHIFT_ARROWS,
        words::KEY_SIZE,
    ),
    nudge(
        Action::Nudge(1, 0, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowRight,
        "",
        "",
    ),
    nudge(
        Action::Nudge(0, -1, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowUp,
        "",
        "",
    ),
    nudge(
        Action::Nudge(0, 1, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowDown,
        "",
        "",
    ),
    nudge(
        Action::Turn(-5),
        Modifiers::NONE,
        Key::Comma,
        ",  .",
        words::KEY_TURN,
    ),
    nudge(Action::Turn(5), Modifiers::NONE, Key::Period, "", ""),
];

/// Which keys may act now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Listening {
    /// An entry field has the keyboard: no key of ours acts.
    Nothing,
    /// A dialog is open: no key of ours acts but Escape.
    OnlyBack,
    /// Every view's keys.
    Everywhere,
    /// The help page's as well.
    InHelp,
    /// The Set-up view's as well.
    InSetup,
    /// And those of the picture.
    OnPicture,
}

/// The actions asked for by the keys pressed since the last picture, in their order.
#[must_use]
pub fn pressed(ctx: &Context, listening: Listening) -> Vec<Action> {
    let mut found = Vec::new();
    ctx.input_mut(|input| {
        input.events.retain(|event| {
            let Event::Key {
                key,
                pressed: true,
                repeat,
                modifiers,
                ..
            } = event
            else {
                return true;
            };
            let Some(binding) = binding_of(*key, *modifiers, listening) else {
                return true;
            };
            if !*repeat || repeats(binding.action) {
                found.push(binding.action);
            }
            false
        });
    });
    found
}

/// The most particular binding of a key: `Ctrl Shift Z` before `Ctrl Z`. Shift is not asked of
/// plain letters, so that a caps lock does no harm.
fn binding_of(key: Key, modifiers: Modifiers, listening: Listening) -> Option<&'static Binding> {
    BINDINGS
        .iter()
        .filter(|binding| binding.key == key && hears(listening, binding))
        .filter(|binding| modifiers.matches_logically(binding.modifiers))
        .max_by_key(|binding| {
            u8::from(binding.modifiers.shift) + u8::from(binding.modifiers.command)
        })
}

fn hears(listening: Listening, binding: &Binding) -> bool {
    match (listening, binding.place) {
        (Listening::Nothing, _) => false,
        (Listening::OnlyBack, _) => binding.action == Action::Back,
        (_, Where::Everywhere) => true,
        (Listening::OnPicture, place) => place != Where::InHelp,
        (Listening::InSetup, place) => place == Where::InSetup,
        (Listening::InHelp, place) => place == Where::InHelp,
        (Listening::Everywhere, _) => false,
    }
}

/// Whether a key that is held down acts again and again.
fn repeats(action: Action) -> bool {
    matches!(
        action,
        Action::Nudge(..) | Action::Turn(_) | Action::Scroll(_) | Action::Undo | Action::Redo
    )
}

/// The cap of an action's key, to print beside its button.
#[must_use]
pub fn cap(action: Action) -> &'static str {
    BINDINGS
        .iter()
        .find(|binding| binding.action == action)
        .map_or("", |binding| binding.cap)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_does_two_things() {
        for (i, a) in BINDINGS.iter().enumerate() {
            for b in &BINDINGS[i + 1..] {
                // The help page and the Set-up view are never open together.
                let apart = (a.place == Where::InHelp) != (b.place == Where::InHelp)
                    && a.place != Where::Everywhere
                    && b.place != Where::Everywhere;
                assert!(
                    apart || a.key != b.key || a.modifiers != b.modifiers,
                    "{:?} and {:?}",
                    a.action,
                    b.action
                );
            }
        }
    }

    #[test]
    fn every_action_is_told_somewhere_on_the_help_page() {
        for binding in BINDINGS {
            let told = BINDINGS.iter().any(|other| {
                !other.told.is_empty()
                    && std::mem::discriminant(&other.action)
                        == std::mem::discriminant(&binding.action)
            });
            assert!(told, "{:?}", binding.action);
        }
    }
}
