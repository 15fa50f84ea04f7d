//! Every key of the keyboard and what it does: one table, read by the window and by the help page,
//! so that neither can forget one.

use eframe::egui::{Context, Event, Key, Modifiers};

use crate::base::FeedNumber;
use crate::ui::words::{self, Words};

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
    /// The next look.
    Look,
    /// Look, size, language, sounds.
    More,
    /// Drops to be heard, or not.
    DropSound,
    /// Getting started.
    Start,
    /// One feed or all.
    OneOrAll,
    /// The feed so many to the right.
    Neighbour(i8),
    /// The as-found / as-left sheet.
    Sheet,
    /// Shows the room view.
    Room,
    /// Freezes the picture of the room view, or lets it go.
    Freeze,
    /// The lessons, or no lessons.
    Lessons,
    /// Shows the runs.
    Runs,
    /// The report of the run that is open.
    Report,
    /// Puts another run beside the one that is open.
    Beside,
    /// The hand check: its view; there, begins or ends one.
    HandCheck,
    /// A tap of the hand check.
    Tap,
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
    /// In the hand check while a person taps.
    InHandCheck,
    /// In the Set-up view, whatever has the focus but an entry field.
    InSetup,
    /// In the Set-up view while the picture has the focus.
    OnPicture,
}

/// How something is called in the language in force.
pub type Label = fn(&Words) -> &'static str;

/// Said by an earlier line.
const SAID: Label = |_| "";

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
    pub cap: Label,
    /// What it does, for the help page; empty when an earlier line says it.
    pub told: Label,
}

impl Binding {
    /// How the key is written, in the language in force.
    #[must_use]
    pub fn cap(&self) -> &'static str {
        (self.cap)(words::get())
    }

    /// What it does; empty when an earlier line says it.
    #[must_use]
    pub fn told(&self) -> &'static str {
        (self.told)(words::get())
    }
}

const fn plain(action: Action, key: Key, cap: Label, told: Label) -> Binding {
    Binding {
        action,
        place: Where::Everywhere,
        modifiers: Modifiers::NONE,
        key,
        cap,
        told,
    }
}

const fn setup(action: Action, modifiers: Modifiers, key: Key, cap: Label, told: Label) -> Binding {
    Binding {
        action,
        place: Where::InSetup,
        modifiers,
        key,
        cap,
        told,
    }
}

const fn nudge(action: Action, modifiers: Modifiers, key: Key, cap: Label, told: Label) -> Binding {
    Binding {
        action,
        place: Where::OnPicture,
        modifiers,
        key,
        cap,
        told,
    }
}

const fn scroll(tenths: i32, key: Key, cap: Label, told: Label) -> Binding {
    Binding {
        action: Action::Scroll(tenths),
        place: Where::InHelp,
        modifiers: Modifiers::NONE,
        key,
        cap,
        told,
    }
}

const fn choose(number: u16, key: Key, cap: Label, told: Label) -> Binding {
    let feed = if number == 0 {
        None
    } else {
        Some(FeedNumber(number))
    };
    plain(Action::Choose(feed), key, cap, told)
}

/// All keys, in the order of the help page.
pub const BINDINGS: &[Binding] = &[
    plain(Action::Acknowledge, Key::A, |_| "A", |w| w.key_acknowledge),
    plain(Action::Mark, Key::M, |_| "M", |w| w.key_mark),
    plain(Action::MarkOpened, Key::O, |_| "O", |w| w.key_mark_opened),
    plain(Action::MarkClosed, Key::C, |_| "C", |w| w.key_mark_closed),
    choose(1, Key::Num1, |w| w.cap_feeds, |w| w.key_choose),
    choose(2, Key::Num2, SAID, SAID),
    choose(3, Key::Num3, SAID, SAID),
    choose(4, Key::Num4, SAID, SAID),
    choose(5, Key::Num5, SAID, SAID),
    choose(6, Key::Num6, SAID, SAID),
    choose(7, Key::Num7, SAID, SAID),
    choose(8, Key::Num8, SAID, SAID),
    choose(0, Key::Num0, |_| "0", |w| w.key_choose_none),
    plain(Action::OneOrAll, Key::E, |_| "E", |w| w.key_one_or_all),
    plain(Action::Sheet, Key::S, |_| "S", |w| w.key_sheet),
    plain(Action::HandCheck, Key::H, |_| "H", |w| w.key_hand),
    Binding {
        action: Action::Tap,
        place: Where::InHandCheck,
        modifiers: Modifiers::NONE,
        key: Key::Space,
        cap: |w| w.cap_space,
        told: |w| w.key_tap,
    },
    plain(Action::Run, Key::R, |_| "R", |w| w.key_run),
    plain(Action::Sound, Key::N, |_| "N", |w| w.key_sound),
    plain(Action::DropSound, Key::D, |_| "D", |w| w.key_drop_sound),
    plain(Action::Look, Key::L, |_| "L", |w| w.key_look),
    plain(Action::Help, Key::F1, |_| "F1", |w| w.key_help),
    plain(Action::Watch, Key::F2, |_| "F2", |w| w.key_watch),
    plain(Action::Setup, Key::F3, |_| "F3", |w| w.key_setup),
    plain(Action::Source, Key::F4, |_| "F4", |w| w.key_source),
    plain(Action::Far, Key::F5, |_| "F5", |w| w.key_far),
    plain(Action::Room, Key::F6, |_| "F6", |w| w.key_room),
    plain(Action::Runs, Key::F7, |_| "F7", |w| w.key_runs),
    plain(Action::Report, Key::P, |_| "P", |w| w.key_report),
    plain(Action::Beside, Key::B, |_| "B", |w| w.key_beside),
    plain(Action::Freeze, Key::F, |_| "F", |w| w.key_freeze),
    plain(Action::Lessons, Key::T, |_| "T", |w| w.key_lessons),
    plain(Action::More, Key::F8, |_| "F8", |w| w.key_more),
    plain(Action::Start, Key::F9, |_| "F9", |w| w.key_start),
    plain(
        Action::FullScreen,
        Key::F11,
        |_| "F11",
        |w| w.key_full_screen,
    ),
    plain(Action::Back, Key::Escape, |_| "Esc", |w| w.key_back),
    scroll(8, Key::PageDown, |w| w.cap_pages, |w| w.key_scroll),
    scroll(-8, Key::PageUp, SAID, SAID),
    scroll(1, Key::ArrowDown, SAID, SAID),
    scroll(-1, Key::ArrowUp, SAID, SAID),
    setup(
        Action::Undo,
        Modifiers::COMMAND,
        Key::Z,
        |w| w.cap_undo,
        |w| w.key_undo,
    ),
    setup(
        Action::Redo,
        Modifiers::COMMAND,
        Key::Y,
        |w| w.cap_redo,
        |w| w.key_redo,
    ),
    setup(
        Action::Redo,
        Modifiers::COMMAND.plus(Modifiers::SHIFT),
        Key::Z,
        SAID,
        SAID,
    ),
    setup(
        Action::Next,
        Modifiers::NONE,
        Key::PageDown,
        |w| w.cap_page_down,
        |w| w.key_next,
    ),
    setup(
        Action::Previous,
        Modifiers::NONE,
        Key::PageUp,
        |w| w.cap_page_up,
        |w| w.key_previous,
    ),
    setup(
        Action::Remove,
        Modifiers::NONE,
        Key::Delete,
        |w| w.cap_delete,
        |w| w.key_remove,
    ),
    nudge(
        Action::Nudge(-1, 0, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowLeft,
        |w| w.cap_arrows,
        |w| w.key_nudge,
    ),
    nudge(
        Action::Nudge(1, 0, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowRight,
        SAID,
        SAID,
    ),
    nudge(
        Action::Nudge(0, -1, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowUp,
        SAID,
        SAID,
    ),
    nudge(
        Action::Nudge(0, 1, Nudge::Move),
        Modifiers::NONE,
        Key::ArrowDown,
        SAID,
        SAID,
    ),
    nudge(
        Action::Nudge(-1, 0, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowLeft,
        |w| w.cap_shift_arrows,
        |w| w.key_size,
    ),
    nudge(
        Action::Nudge(1, 0, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowRight,
        SAID,
        SAID,
    ),
    nudge(
        Action::Nudge(0, -1, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowUp,
        SAID,
        SAID,
    ),
    nudge(
        Action::Nudge(0, 1, Nudge::Size),
        Modifiers::SHIFT,
        Key::ArrowDown,
        SAID,
        SAID,
    ),
    nudge(
        Action::Turn(-5),
        Modifiers::NONE,
        Key::Comma,
        |_| ",  .",
        |w| w.key_turn,
    ),
    nudge(Action::Turn(5), Modifiers::NONE, Key::Period, SAID, SAID),
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
    /// That of the tap as well.
    InHandCheck,
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
        (Listening::OnPicture, place) => matches!(place, Where::InSetup | Where::OnPicture),
        (Listening::InHandCheck, place) => place == Where::InHandCheck,
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
        .map_or("", |binding| binding.cap())
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
                !other.told().is_empty()
                    && std::mem::discriminant(&other.action)
                        == std::mem::discriminant(&binding.action)
            });
            assert!(told, "{:?}", binding.action);
        }
    }
}
