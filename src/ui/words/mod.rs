//! Every sentence and word of the window, in one place: another language is another file like this
//! one. Figures are put into sentences in
//! `sentences` and nowhere else.

mod sentences;

pub use sentences::*;

/// Makes a constant of each line, with its own words as its documentation.
macro_rules! words {
    ($($name:ident = $text:literal;)*) => {
        $(
            #[doc = $text]
            pub const $name: &str = $text;
        )*
    };
}

words! {
    // The program's name.
    PROGRAM = "beadtally";
    // The window's title.
    TITLE = "beadtally – drops a minute at the sight glass";
    // The unit of a rate.
    UNIT = "drops/min";
    // The same where there is little room.
    UNIT_SHORT = "/min";
    // In the place of figures while there is no reading: strokes, drawn.
    NO_FIGURE = "–";
    // While there is no reading.
    WAITING_FOR_DROPS = "waiting for drops";
    // Why nothing is shown when the instrument gives no sign of life.
    NO_SIGN_OF_LIFE = "no news from the instrument";
    // Why nothing is shown when no better reason is known.
    CANNOT_BE_JUDGED = "the glass cannot be judged now";
    // Beside a bubble of gas.
    GAS = "gas";
    // Where the picture would be.
    NO_PICTURE = "No picture yet. Press F4 to choose a camera, a clip or the demo.";
    // In the top bar.
    NO_PICTURE_YET = "no picture yet";
    // In the top bar.
    NO_SOURCE = "no source";
    // In the top bar.
    NO_RUN = "no run";
    // In the top bar.
    CLIP_IS_OVER = "the clip is over";
    // In the alarm bar.
    NO_ALARMS = "no alarms";
    // The right end of a plot.
    NOW = "now";
    // Keys of the row.
    WATCH = "Watch";
    SETUP = "Set-up";
    FAR = "Far view";
    HELP = "Help";
    SOURCE = "Source";
    START_RUN = "Start run";
    END_RUN = "End run";
    MARK = "Mark";
    SOUND = "Sound";
    TO_LIGHT = "Light";
    TO_DARK = "Dark";
    // On the key beside the alarms.
    ACKNOWLEDGE = "Acknowledge";
    // What each key does, for the help page.
    KEY_ACKNOWLEDGE = "acknowledge all alarms";
    KEY_MARK = "keep a mark: what was done, with its time";
    KEY_MARK_OPENED = "mark at once: valve of the chosen feed a quarter turn open";
    KEY_MARK_CLOSED = "mark at once: valve of the chosen feed a quarter turn closed";
    KEY_CHOOSE = "choose a feed";
    KEY_CHOOSE_NONE = "choose no feed";
    KEY_RUN = "start a run, or end it";
    KEY_SOUND = "alarm sound on or off";
    KEY_LOOK = "light or dark";
    KEY_HELP = "this page";
    KEY_WATCH = "the Watch view: picture, strips, figures";
    KEY_SETUP = "the Set-up view: outlines, bands, scale";
    KEY_SOURCE = "choose a camera, a clip or the demo";
    KEY_FAR = "figures alone, to be read from afar";
    KEY_FULL_SCREEN = "full screen and back";
    KEY_BACK = "close a dialog; back to the Watch view";
    KEY_SCROLL = "further down, further up";
    KEY_UNDO = "undo";
    KEY_REDO = "redo";
    KEY_NEXT = "choose the next outline";
    KEY_PREVIOUS = "choose the outline before";
    KEY_REMOVE = "remove the chosen outline";
    KEY_NUDGE = "move the chosen outline by a pixel";
    KEY_SIZE = "make it wider, narrower, higher, lower by a pixel";
    KEY_TURN = "turn it by half a degree";
    // The caution that stands wherever a person may be asked to go near a glass.
    CAUTION = "Mind: sight glasses, pipes and valves on an engine in steam are hot and \
    under pressure, and a glass can burst. Wear eye protection, know the glass's own shut-off, \
    adjust nothing while your face or the lens is over it, and follow the site's rules and a \
    competent person first. This is an aid to watching, never a safety device.";
    // The same beside marks of valve movements.
    VALVE_CAUTION = "At the valve: it is hot and under pressure. Eye protection on, \
    nothing adjusted under the lens, and somebody competent knows you are there.";
    // The same where a camera is chosen.
    CAMERA_CAUTION = "Set the camera up while the engine is cold if you can. Near a \
    glass under steam wear eye protection and keep the glass's own shut-off within reach.";
    // Set-up.
    OUTLINES = "Outlines in the picture";
    FIND_AGAIN = "Find the glasses";
    LOAD_DOTS = "Load …";
    SAVE_DOTS = "Save …";
    ADD_TUBE = "Add a tube";
    ADD_PORT = "Add a port";
    REMOVE = "Remove";
    UNDO = "Undo";
    REDO = "Redo";
    NO_OUTLINES = "No outlines yet. Find the glasses, or add a tube or a port.";
    NAME = "Name";
    GLASS = "Glass";
    TUBE = "tube";
    PORT = "port";
    BAND_LOW = "Band, low (drops/min)";
    BAND_HIGH = "Band, high (drops/min)";
    CENTRE_X = "Centre, from the left (px)";
    CENTRE_Y = "Centre, from the top (px)";
    WIDTH = "Width (px)";
    HEIGHT = "Height (px)";
    ANGLE = "Turn (degrees)";
    OUTSIDE_DIAMETER = "Outside diameter (mm)";
    SCALE_FROM_DIAMETER = "Scale from the diameter";
    DISTANCE = "Between two points (mm)";
    CLICK_TWO_POINTS = "Click two points";
    CLICK_FIRST_POINT = "Now the first point";
    CLICK_SECOND_POINT = "Now the second point";
    PX_PER_MM = "Scale (px per mm)";
    SCALE_FOR_ALL = "Same scale for all";
    SETUP_HINT = "Drag an outline, its squares or its round knob. With the picture \
    chosen, arrows move, Shift and arrows size, comma and full stop turn. Measure along the glass: \
    a tube widens what is in it, it does not heighten it.";
    // Dialogs.
    BACK = "Back";
    SOURCE_HEADING = "What is watched";
    CAMERAS = "Cameras";
    LOOKING_FOR_CAMERAS = "Looking for cameras …";
    NO_CAMERAS = "No camera found. Plug one in, see that no other program holds it, \
    and look again.";
    LOOK_AGAIN = "Look again";
    CLIP = "A clip: a video, a .y4m file or a folder of pictures";
    OPEN_CLIP = "Open the clip";
    OPEN_DEMO = "Open the demo";
    DEMO_SOURCE = "demo";
    DEMO_FAULTS = "Faults of the demo";
    MARK_HEADING = "Keep a mark";
    WHOLE_LUBRICATOR = "the whole lubricator";
    OWN_WORDS = "Or in your own words";
    KEEP_MARK = "Keep these words";
    START_RUN_HEADING = "Start a run";
    RUN_TITLE = "Title (may be empty)";
    START_RUN_EXPLAINED = "Drops, readings, alarms and marks go to the logbook until \
    the run is ended.";
    START_THE_RUN = "Start the run";
    END_RUN_QUESTION = "End the run?";
    END_RUN_EXPLAINED = "What was recorded stays in the logbook. Counting goes on.";
    END_THE_RUN = "End it";
    CLOSE_QUESTION = "Close while a run is being recorded?";
    CLOSE_EXPLAINED = "The run is ended and kept in the logbook; nothing is lost.";
    END_AND_CLOSE = "End and close";
    SAVE_HEADING = "Save the calibration";
    LOAD_HEADING = "Load a calibration";
    SAVE = "Save";
    LOAD = "Load";
    FILE_PATH = "File (.toml)";
    FIRST_PATH = "calibration.toml";
    // The help page.
    HELP_HEADING = "How to read this window";
    HELP_WHAT = "A camera looks at the sight glasses. Each bead of oil that rises \
    through a glass is counted once; the large figure is drops a minute.";
    HELP_STATES = "Words and shapes";
    HELP_READING = "Figures, strips, plots";
    HELP_FIGURE = "Beside each figure stand its 95 % limits: the true rate lies \
    between them nineteen times out of twenty. On the scale the green block is the band, the drop \
    is the reading, the bar through it its limits. When a glass cannot be seen there is no figure.";
    STRIP_EXPLAINED = "A strip is one glass over time, the newest at the right. Each \
    slanting line is one bead; steeper is faster.";
    HELP_HISTORY = "Under each strip: the rate over time, its limits as a ribbon, the \
    band in green. Where there is no line, nothing could be said.";
    HELP_KEYS = "Keys";
    HELP_KEYS_SETUP = "In the Set-up view";
    HELP_KEYS_PICTURE = "In the Set-up view, while the picture is chosen (Tab, or click)";
    HELP_KEYS_HELP = "On this page";
    HELP_TAB = "Tab goes from one thing to the next, Shift Tab back; Space or Enter \
    presses it.";
    HELP_ZOOM = "Ctrl + and Ctrl − make everything larger or smaller, Ctrl 0 as at \
    first.";
    RING_EXPLAINED = "a bead of oil, counted: a ring with its number";
    LOZENGE_EXPLAINED = "a bubble of gas: told, never counted";
    // Sound.
    SOUND_OFF = "The alarm sound is off.";
    SOUND_ON = "The alarm sound is on.";
    NO_SOUND = "Alarms are shown but cannot be heard: no sound device. Plug one in or switch it on; \
        it is tried again by itself.";
    NO_DISPLAY = "there is no display to open the window on; watch in the terminal instead: \
        beadtally watch demo";
    NOTHING_RUNS = "Nothing is being watched: choose a source first (F4).";
    CHOOSE_FEED_FIRST = "Choose a feed first (keys 1 to 8), then mark its valve.";
    // Names of keys on the keyboard, as printed on the help page.
    CAP_PAGES = "Page down, up";
    CAP_PAGE_DOWN = "Page down";
    CAP_PAGE_UP = "Page up";
    CAP_DELETE = "Delete";
    CAP_ARROWS = "Arrows";
    CAP_SHIFT_ARROWS = "Shift arrows";
    CAP_UNDO = "Ctrl Z";
    CAP_REDO = "Ctrl Y";
    CAP_FEEDS = "1 – 8";
}
