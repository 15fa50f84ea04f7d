//! Every word and sentence of the window in English. This file also says which words there are:
//! another language is another file with the same names. What stands in braces is put in by
//! `sentences`.

super::first_language! {
    // The program's name.
    program = "beadtally";
    // The window's title.
    title = "beadtally – drops a minute at the sight glass";
    // The unit of a rate.
    unit = "drops/min";
    // The same where there is little room.
    unit_short = "/min";
    // In the place of figures while there is no reading: strokes, drawn.
    no_figure = "–";
    // While there is no reading.
    waiting_for_drops = "waiting for drops";
    // Why nothing is shown when the instrument gives no sign of life.
    no_sign_of_life = "no news from the instrument";
    // Why nothing is shown when no better reason is known.
    cannot_be_judged = "the glass cannot be judged now";
    // Beside a bubble of gas.
    gas = "gas";
    // Where the picture would be.
    no_picture = "No picture yet. Press F4 to choose a camera, a clip or the demo.";
    // In the top bar.
    no_picture_yet = "no picture yet";
    // In the top bar.
    no_source = "no source";
    // In the top bar.
    no_run = "no run";
    // In the top bar.
    clip_is_over = "the clip is over";
    // In the alarm bar.
    no_alarms = "no alarms";
    // The right end of a plot.
    now = "now";
    // Keys of the row.
    watch = "Watch";
    setup = "Set-up";
    far = "Far";
    help = "Help";
    source = "Source";
    start_run = "Start run";
    end_run = "End run";
    // The same where there is little room.
    start_run_short = "Start";
    end_run_short = "End";
    mark = "Mark";
    sound = "Sound";
    // On the key beside the alarms.
    acknowledge = "Acknowledge";
    // What each key does, for the help page.
    key_acknowledge = "acknowledge all alarms";
    key_mark = "keep a mark: what was done, with its time";
    key_mark_opened = "mark at once: valve of the chosen feed a quarter turn open";
    key_mark_closed = "mark at once: valve of the chosen feed a quarter turn closed";
    key_choose = "choose a feed";
    key_choose_none = "choose no feed";
    key_run = "start a run, or end it";
    key_sound = "alarm sound on or off";
    key_look = "light, dark, high contrast";
    key_help = "this page";
    key_watch = "the Watch view: picture, strips, figures";
    key_setup = "the Set-up view: outlines, bands, scale";
    key_source = "choose a camera, a clip or the demo";
    key_far = "figures alone, to be read from afar";
    key_full_screen = "full screen and back";
    key_back = "close a dialog; back to the Watch view";
    key_scroll = "further down, further up";
    key_undo = "undo";
    key_redo = "redo";
    key_next = "choose the next outline";
    key_previous = "choose the outline before";
    key_remove = "remove the chosen outline";
    key_nudge = "move the chosen outline by a pixel";
    key_size = "make it wider, narrower, higher, lower by a pixel";
    key_turn = "turn it by half a degree";
    // The caution that stands wherever a person may be asked to go near a glass.
    caution = "Mind: sight glasses, pipes and valves on an engine in steam are hot and under pressure, and a glass can burst. Wear eye protection, know the glass's own shut-off, adjust nothing while your face or the lens is over it, and follow the site's rules and a competent person first. This is an aid to watching, never a safety device.";
    // The same beside marks of valve movements.
    valve_caution = "At the valve: it is hot and under pressure. Eye protection on, nothing adjusted under the lens, and somebody competent knows you are there.";
    // The same where a camera is chosen.
    camera_caution = "Set the camera up while the engine is cold if you can. Near a glass under steam wear eye protection and keep the glass's own shut-off within reach.";
    // Set-up.
    outlines = "Outlines in the picture";
    find_again = "Find the glasses";
    load_dots = "Load …";
    save_dots = "Save …";
    add_tube = "Add a tube";
    add_port = "Add a port";
    remove = "Remove";
    undo = "Undo";
    redo = "Redo";
    no_outlines = "No outlines yet. Find the glasses, or add a tube or a port.";
    name = "Name";
    glass = "Glass";
    tube = "tube";
    port = "port";
    band_low = "Band, low (drops/min)";
    band_high = "Band, high (drops/min)";
    centre_x = "Centre, from the left (px)";
    centre_y = "Centre, from the top (px)";
    width = "Width (px)";
    height = "Height (px)";
    angle = "Turn (degrees)";
    outside_diameter = "Outside diameter (mm)";
    scale_from_diameter = "Scale from the diameter";
    distance = "Between two points (mm)";
    click_two_points = "Click two points";
    click_first_point = "Now the first point";
    click_second_point = "Now the second point";
    px_per_mm = "Scale (px per mm)";
    scale_for_all = "Same scale for all";
    setup_hint = "Drag an outline, its squares or its round knob. With the picture chosen, arrows move, Shift and arrows size, comma and full stop turn. Measure along the glass: a tube widens what is in it, it does not heighten it.";
    // Dialogs.
    back = "Back";
    source_heading = "What is watched";
    cameras = "Cameras";
    looking_for_cameras = "Looking for cameras …";
    no_cameras = "No camera found. Plug one in, see that no other program holds it, and look again.";
    look_again = "Look again";
    clip = "A clip: a video, a .y4m file or a folder of pictures";
    open_clip = "Open the clip";
    open_demo = "Open the demo";
    demo_faults = "Faults of the demo";
    mark_heading = "Keep a mark";
    whole_lubricator = "the whole lubricator";
    own_words = "Or in your own words";
    keep_mark = "Keep these words";
    start_run_heading = "Start a run";
    run_title = "Title (may be empty)";
    start_run_explained = "Drops, readings, alarms and marks go to the logbook until the run is ended.";
    start_the_run = "Start the run";
    end_run_question = "End the run?";
    end_run_explained = "What was recorded stays in the logbook. Counting goes on.";
    end_the_run = "End it";
    close_question = "Close while a run is being recorded?";
    close_explained = "The run is ended and kept in the logbook; nothing is lost.";
    end_and_close = "End and close";
    save_heading = "Save the calibration";
    load_heading = "Load a calibration";
    save = "Save";
    load = "Load";
    file_path = "File (.toml)";
    first_path = "calibration.toml";
    // The help page.
    help_heading = "How to read this window";
    help_what = "A camera looks at the sight glasses. Each bead of oil that rises through a glass is counted once; the large figure is drops a minute.";
    help_states = "Words and shapes";
    help_reading = "Figures, strips, plots";
    help_figure = "Beside each figure stand its 95 % limits: the true rate lies between them nineteen times out of twenty. On the scale the green block is the band, the drop is the reading, the bar through it its limits. When a glass cannot be seen there is no figure.";
    strip_explained = "A strip is one glass over time, the newest at the right. Each slanting line is one bead; steeper is faster.";
    help_history = "Under each strip: the rate over time, its limits as a ribbon, the band in green. Where there is no line, nothing could be said.";
    help_keys = "Keys";
    help_keys_setup = "In the Set-up view";
    help_keys_picture = "In the Set-up view, while the picture is chosen (Tab, or click)";
    help_keys_help = "On this page";
    help_tab = "Tab goes from one thing to the next, Shift Tab back; Space or Enter presses it.";
    help_zoom = "Ctrl + and Ctrl − make everything larger or smaller, Ctrl 0 as at first.";
    ring_explained = "a bead of oil, counted: a ring with its number";
    lozenge_explained = "a bubble of gas: told, never counted";
    // Sound.
    sound_off = "The alarm sound is off.";
    sound_on = "The alarm sound is on.";
    no_sound = "Alarms are shown but cannot be heard: no sound device. Plug one in or switch it on; it is tried again by itself.";
    no_display = "there is no display to open the window on; watch in the terminal instead: beadtally watch demo";
    nothing_runs = "Nothing is being watched: choose a source first (F4).";
    choose_feed_first = "Choose a feed first (keys 1 to 8), then mark its valve.";
    // Names of keys on the keyboard, as printed on the help page.
    cap_pages = "Page down, up";
    cap_page_down = "Page down";
    cap_page_up = "Page up";
    cap_delete = "Delete";
    cap_arrows = "Arrows";
    cap_shift_arrows = "Shift arrows";
    cap_undo = "Ctrl Z";
    cap_redo = "Ctrl Y";
    cap_feeds = "1 – 8";
    // What stands between whole and tenths.
    decimal_point = ".";
    // Verdicts.
    state_in_band = "in band";
    state_low = "low";
    state_high = "high";
    state_far_high = "far high";
    state_stopped = "stopped";
    state_cannot_see = "cannot see";
    state_no_reading_yet = "no reading yet";
    in_band_explained = "the rate is within its band";
    low_explained = "under the low limit";
    high_explained = "over the high limit";
    far_high_explained = "over twice the high limit";
    stopped_explained = "no drop for far longer than this feed's own interval";
    cannot_see_explained = "the glass cannot be judged now: no figure is shown";
    no_reading_yet_explained = "too few drops so far";
    explained = "{word}: {what}";
    // Why a glass cannot be judged.
    blind_starting = "getting used to the picture";
    blind_no_frames = "no frames";
    blind_camera_lost = "camera lost";
    blind_frozen = "the picture is frozen";
    blind_dark = "too dark";
    blind_light_changed = "the light changed";
    blind_moved = "the camera moved";
    blind_covered = "something is in the way";
    blind_flooded = "the glass is flooded with oil";
    // What alarms are about, and their states.
    cause_stopped = "stopped";
    cause_far_high = "far high";
    cause_low = "low";
    cause_high = "high";
    cause_cannot_see = "cannot see";
    cause_camera_lost = "camera lost";
    cause_logbook = "logbook not written";
    alarm_normal = "normal";
    alarm_unacknowledged = "unacknowledged";
    alarm_acknowledged = "acknowledged";
    alarm_returned = "returned to normal unacknowledged";
    alarm_shelved = "shelved";
    alarm_returned_short = "over, unacknowledged";
    alarm_of_feed = "Feed {feed}: {cause}";
    alarm_state_since = "{state}, {time}";
    alarm_line = "{what}, {time}";
    alarm_sentence = "{what}, {state}";
    acknowledge_this = "Acknowledge {what}";
    more_alarms = "+ {more} more";
    // A feed in words.
    feed_number = "feed {feed}";
    choose_feed = "Choose {name}";
    feed_sentence = "{name}: {state}, {figure}, {last}";
    reading_said = "{rate}, {limits}";
    limits = "95 %: {low} to {high}";
    limits_short = "{low}–{high}";
    limits_with_unit = "{low} to {high} {unit}";
    band = "band {low} to {high}";
    not_counting = "not counting now";
    last_drop_ago = "last drop {time} ago";
    no_drop_yet = "no drop yet";
    one_drop = "1 drop";
    some_drops = "{drops} drops";
    drops_and_gas = "{drops}, {gas} gas";
    doubts = "doubt: {doubts}";
    // Lengths of time.
    secs = "{secs} s";
    mins_secs = "{mins} min {secs} s";
    hours_mins = "{hours} h {mins} min";
    mins = "{mins} min";
    hours = "{hours} h";
    ago = "{time} ago";
    // The top bar.
    watching = "Watching {name}";
    picture_age = "picture {age} s old, {fps} a second";
    old_picture = "the picture is {time} old";
    run = "run {run}: {time}, {drops}";
    clock = "clock {clock}";
    strip_of = "strip of {name}";
    history_of = "rate of {name} over time";
    // Set-up.
    none_chosen = "none chosen";
    outline_chosen = "outline {number} chosen";
    outline_row = "{feed}  {name} ({kind})";
    not_in_force_of = "Not in force yet. Feed {feed}: {fault}";
    not_in_force = "Not in force yet: {fault}";
    scale_unknown = "Scale not known: speeds and sizes stay in pixels.";
    scale_now = "Scale: {scale} pixels per millimetre";
    scale_from_points = "Scale from {length} px";
    // Marks.
    valve = "valve";
    valve_of = "valve {feed}";
    mark_opened = "{valve} a quarter turn open";
    mark_closed = "{valve} a quarter turn closed";
    mark_half_opened = "{valve} half a turn open";
    mark_half_closed = "{valve} half a turn closed";
    mark_shut = "{valve} shut";
    mark_nozzle = "nozzle cleaned";
    mark_steam_opened = "steam opened";
    mark_steam_shut = "steam shut off";
    mark_filled = "reservoir filled";
    mark_wiped = "glass wiped";
    mark_counted = "counted by eye";
    mark_kept = "Mark kept: {words}";
    // Trouble.
    no_window = "the window cannot be opened ({why}); with no display watch in the terminal instead: beadtally watch demo";
    opening = "Opening {source} …";
    not_opened = "{source} cannot be watched: {why}";
    silent_part = "The part that {work} has given no sign for {time}. If this stays, end the program and start it again.";
    part_capture = "takes the pictures";
    part_measure = "counts the drops";
    part_log = "writes the logbook";
    saved_to = "Calibration saved to {path}";
    loaded_from = "Calibration loaded from {path}";
    // Getting started.
    start_heading = "Getting started, {step} of {steps}: {what}";
    start_source = "what is watched";
    start_glasses = "the glasses";
    start_size = "their size";
    start_names = "names and bands";
    start_later = "Later";
    start_back = "Back a step";
    start_skip = "Skip this";
    start_source_explained = "Choose a camera by its picture, or the demo, which draws a lubricator of its own.";
    start_demo = "The demo";
    start_clip = "A recorded clip …";
    start_tile_waits = "waiting for a picture";
    start_no_picture = "Waiting for the first picture …";
    start_glasses_looking = "Looking for the glasses …";
    start_glasses_question = "Are these the glasses?";
    start_glasses_drag = "If not: drag an outline, its squares or its round knob; add one, remove one, or look again. Everything can be undone.";
    start_yes = "Yes, these are the glasses";
    start_look_again = "Look again";
    start_hint = "Camera: straight before the glasses, upright, at arm's length, on something that does not tremble. Lamp: a plain light or a pale card behind the glasses, and no glare on them.";
    start_size_question = "How thick is the glass outside?";
    start_size_take = "Take this diameter";
    start_size_explained = "Then sizes and speeds come in millimetres. Counting works without it, and it can be given later (F3).";
    mm_suffix = " mm";
    start_names_question = "What are the feeds called, and what are their bands?";
    start_names_explained = "The band is the target: the low and the high limit in drops a minute. Two to three is common. All of this can be changed later (F3).";
    start_suggest = "Suggest names";
    start_done = "Done: start watching";
    name_of = "Name of feed {feed}";
    low_of = "Low limit of feed {feed}";
    high_of = "High limit of feed {feed}";
    band_low_short = "Low /min";
    band_high_short = "High /min";
    cylinder = "cylinder";
    left_cylinder = "left cylinder";
    right_cylinder = "right cylinder";
    steam_chest = "steam chest";
    left_chest = "left steam chest";
    right_chest = "right steam chest";
    // How good the picture is.
    sharp_good = "Sharp.";
    sharp_fair = "A little soft: focus on the glass, not on what is behind it.";
    sharp_bad = "Blurred: focus on the glass, or move the camera a little back.";
    sharp_unknown = "Sharpness cannot be told yet: there are too few edges in the picture.";
    light_good = "Light enough.";
    light_glare = "Too bright: parts of the glass are plain white. Turn the lamp down or move it away.";
    dark_fair = "A little dark: more light behind the glass would help.";
    dark_bad = "Too dark: add light behind the glass.";
    dark_slowed = "Too dark: the camera has slowed to {fps} frames a second; add light behind the glass.";
    steady_good = "Steady.";
    steady_fair = "The picture sways by {px} pixels. It can be followed; a firmer stand is better.";
    steady_bad = "The picture shakes by {px} pixels: put the camera on a stand, away from what trembles.";
    rate_good = "{fps} frames a second.";
    rate_bad = "Only {fps} frames a second: quick beads may be seen too seldom. More light, or another mode of the camera.";
    // Look, sound, language.
    more = "More";
    more_heading = "Look, sound, language";
    look = "Look";
    look_dark = "Dark";
    look_light = "Light";
    look_high_contrast = "High contrast";
    size = "Size of everything";
    size_percent = "{percent} %";
    language = "Language";
    language_name = "English";
    alarm_sound = "Alarm sound";
    drop_sound = "A sound for each drop";
    drop_sound_explained = "Each feed has its own pitch, the leftmost the lowest. An alarm is heard above all of them.";
    start_again = "Getting started …";
    key_more = "look, size, language, sounds";
    key_drop_sound = "a sound for each drop, on or off";
    drop_sound_on = "Each drop is heard, a pitch for each feed.";
    drop_sound_off = "Drops are not heard.";
    key_start = "getting started: source, glasses, names";
    // For the fitter.
    settled = "settled";
    settle_blind = "cannot see: nothing to wait for yet";
    settle_stopped = "stopped: look at the glass";
    wait_one = "wait: one more drop";
    wait_some = "wait: {drops} more drops";
    wait_long = "wait: many more drops";
    numbers = "one two three four five six seven eight nine";
    one_feed = "One";
    all_feeds = "All";
    feed_left = "Left";
    feed_right = "Right";
    glove_open = "¼ open";
    glove_close = "¼ closed";
    glove_sound = "Drops";
    glove_sheet = "Sheet";
    key_one_or_all = "one feed or all, in the far view";
    key_sheet = "the as-found / as-left sheet";
    sheet_heading = "As found, as left";
    sheet_about = "{source}, {time}";
    sheet_feed = "Feed";
    sheet_band = "Band (drops/min)";
    sheet_found = "As found (drops/min)";
    sheet_left = "As left (drops/min)";
    sheet_marks = "What was done";
    sheet_no_marks = "No mark was kept.";
    sheet_nothing = "no reading";
    sheet_unsettled = "not settled";
    sheet_noted = "{rate} ({low} to {high}), {drops} drops, {state}, {settled}";
    sheet_limits = "In brackets: 95 % limits. The true rate lies between them nineteen times out of twenty. 'As found' is the last reading before the feed's valve was first moved, 'as left' the newest since it was last moved.";
    heading_and = "{heading}: {what}";
    sheet_save = "Save and open";
    sheet_new = "Begin a new sheet";
    not_written = "{path} cannot be written: {why}. Make room on the disk, or give yourself the right to write there.";
    paper_kept = "Kept as {path}";
    // For the tester.
    runs = "Runs";
    no_logbook = "No logbook is kept, so there are no runs; start the program with one.";
    runs_reading = "reading the logbook …";
    runs_none = "No run was recorded yet. Start one: R.";
    runs_none_open = "Choose a run in the list.";
    runs_choose_beside = "Now the run to put beside the one that is open:";
    runs_beside = "Put beside";
    runs_alone = "One alone";
    runs_report = "Report";
    runs_rate = "Rate";
    runs_intervals = "Intervals";
    runs_drops = "Drops";
    runs_no_drops = "No drop was counted in this feed.";
    runs_press_chart = "Press a place in the chart, or a drop in the list, to see the bead and the strip at that time.";
    runs_no_picture = "no picture was kept";
    runs_no_strip = "The strip is kept only for the run under way, for the last hour.";
    runs_strip_said = "the strip at the time of this drop";
    runs_drop_before = "Drop before";
    runs_drop_after = "Drop after";
    run_row = "{run}: {title}{date}, {length}, {drops}";
    run_title_then = "{title}, ";
    run_heading = "Run {run}: {title}{source}, {date}, {length}, {drops}, {ending}";
    run_ended = "ended";
    run_recording = "being recorded";
    run_cut = "not ended (cut short)";
    run_feed = "{feed} {name}";
    run_figures = "{drops} drops, {rate} a minute over the whole run, mean interval {interval}";
    individuals = "{intervals} intervals, mean {mean}, limits {lower} to {upper}; {outside} outside (squares)";
    individuals_few = "{intervals} intervals: too few for limits";
    drop_row = "{number}: {time}, interval {interval}";
    drop_told = "Drop {number}, {time} after the start, at {date}. Interval before it: {interval}. Height {height} px{size}; rises {speed}; sure to {sure} %.";
    drop_size = ", diameter {mm} mm";
    no_interval = "not known";
    key_runs = "runs: the one under way, and those before";
    key_report = "report of the run that is open";
    key_beside = "put another run beside it, in the Runs view";
    report_asked = "Writing the report of run {run} …";
    report_done = "Report: {path}";
    run_lasts = "How long";
    run_until_ended = "until it is ended";
    run_ends_in = "{run}, ends in {time}";
    // For the instructor.
    room = "Room";
    key_room = "the room view: one glass, large, for many eyes";
    key_freeze = "freeze the picture and let it go, in the room view";
    key_lessons = "lessons on the demo, in the room view";
    freeze = "Freeze";
    unfreeze = "Let go";
    lessons = "Lessons";
    full_screen = "Full screen";
    room_nothing = "Nothing is watched yet. Choose a source (F4), or the demo for lessons.";
    room_drops = "drops";
    room_last = "The last bead, four times slower";
    room_no_last = "The last bead is shown here again, four times slower.";
    room_frozen = "frozen picture – counting goes on";
    room_strip = "The strip: this glass over time, the newest at the right. Each slanting line is one bead; steeper is faster.";
    room_nozzle = "nozzle";
    room_top = "top";
    room_before = "before";
    lesson_of = "Lesson {lesson} of {lessons}: {title}";
    lesson_needs_demo = "Lessons play on the demo, where nothing can be hurt.";
    lesson_open_demo = "Open the demo";
    lesson_start = "Let it happen";
    lesson_ask = "Ask the trainees first:";
    lesson_answer = "Show the answer";
    lesson_clear = "Put it right";
    lesson_next = "Next lesson";
    lesson_before = "Lesson before";
    lesson_over = "Back to the room";
    lesson_1 = "a feed stops";
    lesson_1_scene = "All feeds have given their two to three drops a minute for hours. Watch feed 1.";
    lesson_1_question = "What do you look at first, what after that, and what does the cylinder miss in the meantime?";
    lesson_1_answer = "First the glass itself, with your own eyes. Then the reservoir (empty, or full of water?), the steam and condensate valves, the nozzle. Without oil, valve and rings run dry: they groan, glands grow hot, faces are scored. The instrument says 'stopped' after two and a half of this feed's own intervals: one late drop is no alarm.";
    lesson_2 = "a glass floods with oil";
    lesson_2_scene = "Oil gathers in glass 2 instead of leaving it at the top. Watch how the water in it disappears.";
    lesson_2_question = "Oil still leaves the reservoir. Why can nobody count this feed any more, by eye or by machine?";
    lesson_2_answer = "A drop is seen because it rises through water. In a glass full of oil there is nothing to see. The way out above is choked, or the glass has lost its water. Shut the feed, clear the glass as the lubricator's own practice says, let it fill with condensate, and open slowly. Until then the instrument says 'cannot see' and gives no figure, because it has none.";
    lesson_3 = "too much oil, and carbon";
    lesson_3_scene = "Somebody opened the valve of feed 1 far too wide, to be on the safe side.";
    lesson_3_question = "What does oil do that a hot cylinder does not need, and how long does the reservoir last now?";
    lesson_3_answer = "What the walls cannot hold bakes to carbon in the steam chest, behind the rings and in the exhaust: rings stick, ports narrow, and oil goes with the condensate to where it does harm. At five times the rate the reservoir lasts a fifth of its time. 'Far high' is more than twice the high limit. More is not safer.";
    lesson_4 = "water carried over";
    lesson_4_scene = "The boiler primes and water comes over with the steam. The drain cocks are opened, and steam drifts before the glasses.";
    lesson_4_question = "What do the glasses show of the water in the cylinders, and what do the cylinders need now?";
    lesson_4_answer = "The glasses show nothing of it: they show what is sent, not what stays on the walls. Water washes the oil off while the drops come as ever. First dry steam: ease the engine, drain cocks open, see to the water level. Then a little more oil for a while, and back to the band. While steam hides a glass, the instrument says 'cannot see'; it does not say 'stopped'.";
    lesson_5 = "cold oil";
    lesson_5_scene = "Morning. The lubricator is cold and its oil is stiff. The valves stand where they stood last night.";
    lesson_5_question = "Why do all feeds fall together, and what comes of opening all valves now?";
    lesson_5_answer = "Stiff oil creeps through the valves, and all feeds share it; one valve at fault would show in one glass. Open them now, and an hour later, when the oil is warm, all run far high. Warm the lubricator through first. Then set each feed, mark each movement, and wait until the reading is settled.";
    lesson_6 = "not seen is not stopped";
    lesson_6_scene = "People walk between camera and glasses, again and again.";
    lesson_6_question = "No drop is counted while somebody stands there. Has the feed stopped?";
    lesson_6_answer = "Nobody knows, and so the instrument says 'cannot see'. That time is cut out: no drop is invented in it, and no silence is charged to the feed. The same holds for your own eye: a count with a gap in it is a count of less time.";
}
