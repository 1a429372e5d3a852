/*
 * viewer, inside. The pattern is: event -> key table -> command -> state -> scene -> what differs
 * from the scene before is repainted. Everything up to the scene is pure (no X, no cairo) and
 * tested without a display; view_paint.c knows cairo; view_window.c, view_frame.c and view_input.c
 * know X.
 *
 * Frames: film pixels as everywhere (centres at integers); window pixels with the corner of the
 * top-left pixel at (0,0). view_transform.c is the one place between them, half pixel included.
 */
#ifndef VIEW_INTERNAL_H
#define VIEW_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/exam.h"
#include "plumbrule/geometry.h"
#include "plumbrule/record.h"

struct view_box {
    double x0, y0, x1, y1;
};
static inline bool view_box_has(struct view_box b, struct geo_point p)
{
    return p.x >= b.x0 && p.x < b.x1 && p.y >= b.y0 && p.y < b.y1;
}
static inline bool view_box_meets(struct view_box a, struct view_box b)
{
    return a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1;
}

/* --- view_transform.c: where the film lies in the window -------------------------------------- */

struct view_transform {
    double scale;          /* window px a film px */
    double ox, oy;         /* window px, whole: corner of the turned film's box */
    int turn;              /* quarter turns clockwise, 0..3 */
    double lean;           /* rad clockwise on top of them; mostly 0 */
    double film_w, film_h; /* px, unturned */
};
struct geo_point view_to_window(const struct view_transform *t, struct geo_point film);
struct geo_point view_to_film(const struct view_transform *t, struct geo_point window);
/* A step in the window as a step on the film, and not scaled: for the arrow keys. */
struct geo_point view_step_to_film(const struct view_transform *t, struct geo_point step);
bool view_on_film(const struct view_transform *t, struct geo_point window);
/* From where to where the film reaches in the window's line at y; false when it does not. */
bool view_film_span(const struct view_transform *t, double y, double *x0, double *x1);
/* The film's box in the window; when the film leans, the upright box about it. */
struct view_box view_film_box(const struct view_transform *t);
void view_fit(struct view_transform *t, struct view_box room);
/* Keeps the film's point under `at` where it is. */
void view_zoom(struct view_transform *t, struct view_box room, struct geo_point at, double scale);
/* Moves by whole px; some of the film stays in the room. */
void view_pan(struct view_transform *t, struct view_box room, double dx, double dy);
/* Turns about the middle of the room. */
void view_turn_to(struct view_transform *t, struct view_box room, int turn, double lean);
/* Quarter turn by which `apical` (film) comes to point up or down, to within the lean that makes it
 * exact. */
int view_turn_for(struct geo_point apical, bool up, double *lean);

/* --- view_tone.c: grey of the film -> grey of the screen -------------------------------------- */

struct view_tone {
    double low, high; /* film's own black and white, from its histogram */
    double bright;    /* -1..1 */
    double contrast;  /* stops of two: 0 as is */
    bool inverted;
};
void view_tone_init(struct view_tone *t, const struct film *film);
void view_tone_table(const struct view_tone *t, uint8_t table[65536]);

/* --- view_raster.c: the film at the window's scale ---------------------------------------------
 */

enum { VIEW_LEVELS = 16 };
/* The film halved again and again. Level 0 borrows the film. */
struct view_pyramid {
    struct {
        const uint16_t *grey;
        uint16_t *own;
        size_t w, h;
    } level[VIEW_LEVELS];
    size_t n;
};
void view_pyramid_release(struct view_pyramid *p);

/* The visible part of the film, one grey a window px, kept from one picture to the next. */
struct view_raster {
    uint16_t *grey; /* w x h */
    size_t w, h;
    struct view_box room; /* whole window px it stands for */
    struct view_transform t;
    bool valid;
};
int view_raster_init(struct view_raster *r, struct view_box room, struct err *err);
void view_raster_release(struct view_raster *r);
/* Area-averaged when the film is made smaller, bilinear when larger or leaning. After a mere move
 * only the strips that came into sight are computed. */
int view_raster_update(struct view_raster *r, struct view_pyramid *p, const struct film *film,
                       const struct view_transform *t, struct err *err);

/* --- view_steps.c: the way of the work ------------------------------------------------------- */

enum view_step {
    STEP_GAUGE,
    STEP_PIN,
    STEP_ROOT_MESIAL,
    STEP_ROOT_DISTAL,
    STEP_CREST_MESIAL,
    STEP_CREST_DISTAL,
    STEP_BOUND,
    STEP_CEJ,
    STEP_SITE_TOOTH,
    STEP_SEEN,
    STEPS
};
enum view_progress { TO_DO, PROPOSED, DONE };

/* Where the next click goes. */
enum view_way {
    WAY_MARK,
    WAY_ROOT,
    WAY_CREST,
    WAY_BOUND,
    WAY_LATER /* a mark that is offered once the step has what it needs */
};
struct view_target {
    enum view_step step;
    enum view_way way;
    const char *mark; /* the mark's path in the sheet; of a root or bound its beginning */
    const char *words;
    bool wanted; /* asked for in the flow of the work; else on demand */
};
extern const struct view_target view_targets[];
extern const size_t view_n_targets;
enum { VIEW_NO_TARGET = -1 };

const char *view_step_words(enum view_step s);
bool view_step_optional(enum view_step s);
/* The step a mark belongs to, by its path. */
enum view_step view_step_of(const char *mark);
/* Does confirming the step confirm this mark? The gauge's ends stand on the pin. */
bool view_step_confirms(enum view_step s, const char *mark);
enum view_progress view_step_progress(const struct sheet *s, enum view_step step);
/* First wanted target of the step that has no mark and index >= from; VIEW_NO_TARGET. */
int view_target_next(const struct sheet *s, enum view_step step, int from);
/* The next required step after `step` that is not done; STEPS when all are. */
enum view_step view_step_next(const struct sheet *s, enum view_step step);
/* A mark's name for a person. */
const char *view_mark_words(const char *name);
/* Marks still unconfirmed. */
size_t view_proposals(const struct sheet *s);

/* --- view_marks.c: editing the sheet's marks ------------------------------------------------- */

enum { VIEW_NAME = 48 };
/* All set marks; release with free. Pointers hold until the sheet is edited otherwise. */
size_t view_marks(const struct sheet *s, struct sheet_mark_ref **out);
/* Moves the mark and those that stand on the same spot for the same thing. */
void view_mark_move(struct sheet *s, const char *name, struct geo_point to);
/* Which of the further pins a name like "pins[1].tip" speaks of; false: of none. */
bool view_pin_index(const char *name, size_t *k);
void view_mark_place(struct sheet *s, const char *name, struct geo_point at);
/* Takes the mark away; of a path its point. */
void view_mark_delete(struct sheet *s, const char *name);
/* Cuts a path from the named point to its nearer end; false when the mark is of no path. */
bool view_path_cut(struct sheet *s, const char *name);
int view_path_add(struct mark_path *p, struct geo_point at, struct err *err);
void view_step_confirm(struct sheet *s, enum view_step step);
void view_step_clear(struct sheet *s, enum view_step step);
/* What the finder found, where no mark is set; rest only: nothing but what the known sizes and the
 * tooth let it add, the gauges' ends and the pin's sides. */
void view_marks_merge(struct sheet *into, const struct sheet *found, bool rest_only);

/* --- view_ask.c: what is typed ---------------------------------------------------------------- */

enum view_question {
    ASK_NOTHING,
    ASK_PATH,
    ASK_TOOTH,
    ASK_LENGTH,
    ASK_ACROSS,
    ASK_SENSOR,
    ASK_SEEN_FROM,
    ASK_TAKEN,
    ASK_STAGE,
    ASK_EXTRACTED,
    ASK_GRAFTED,
    ASK_AGE,
    ASK_ROOTS,
    ASK_PLATE,
    ASK_INFECTION,
    ASK_HOLD,
    ASK_TISSUE,
    ASK_REMARKS,
    ASK_PLAN_LENGTH,
    ASK_PLAN_WIDTH,
    ASK_PLAN_ON,
    ASK_BOUND,
    QUESTIONS
};
struct view_ask {
    enum view_question what, last; /* the row of questions goes on up to `last` */
    char text[SHEET_TEXT];
    size_t caret;   /* bytes */
    bool then_file; /* asked on the way to the record, which is filed after it */
    bool chosen;    /* the text is the answer already given: typing replaces it, editing keeps it */
};
const char *view_ask_words(enum view_question q);
void view_ask_open(struct view_ask *a, enum view_question first, enum view_question last,
                   const struct sheet *s);
/* Puts the answer into the sheet; a fault is told and nothing changed. ASK_PATH is the caller's. */
int view_ask_answer(const struct view_ask *a, struct sheet *s, struct err *err);
void view_ask_insert(struct view_ask *a, const char *utf8, size_t len);
/* Has the question no point as the sheet stands? */
bool view_ask_idle(enum view_question q, const struct sheet *s);
/* Does the question take nothing but a number? */
bool view_ask_number(enum view_question q);
enum view_edit { EDIT_LEFT, EDIT_RIGHT, EDIT_HOME, EDIT_END, EDIT_BACK, EDIT_DELETE, EDIT_CLEAR };
void view_ask_edit(struct view_ask *a, enum view_edit how);

/* --- view_state.c: all the window knows ---------------------------------------------------------
 */

/* Answered with one key. */
enum view_choice { CHOICE_NONE, CHOICE_JOURNAL, CHOICE_CLOSE };
enum view_drag { DRAG_NONE, DRAG_PRESSED, DRAG_MARK, DRAG_PAN, DRAG_TONE };
enum view_find_state { FIND_IDLE, FIND_ALL, FIND_REST };

/* A file as it was seen last: has somebody else written it since? */
struct view_stamp {
    bool set;
    int64_t s, ns, bytes;
};

struct view_layout {
    double ui; /* 1 at 96 dots an inch */
    double w, h;
    struct view_box film, column, foot;
    double step_row, quantity_row, pad, text, small; /* px */
};

struct view_state {
    struct exam exam;
    struct exam_options options;
    bool has_film;
    char *open_path; /* being opened beside the window; NULL: nothing is */
    struct sheet_history history;
    size_t saved_at; /* history step that is on disk */
    char *save_path, *journal_path;
    int lock;                /* file descriptor that keeps other windows off this film; -1: none */
    bool on_disk;            /* save_path is ours */
    struct view_stamp stamp; /* of save_path */
    bool journal_due, journal_failed;

    enum view_step step;
    int target;               /* chosen by hand, else VIEW_NO_TARGET: the next one of the step */
    int skip_to;              /* targets of the step before this one are passed over */
    char selected[VIEW_NAME]; /* mark's path, "" for none */
    bool has_rough;           /* first of a root's two clicks */
    struct geo_point rough;
    bool bound_open; /* clicks go on along the last bound */
    struct view_ask ask;
    enum view_choice choice;
    bool close_asked;
    bool snap, lens, hide;
    bool help, help_notes; /* a page lies over all: of the keys, or of what to take note of */
    size_t first_quantity;
    size_t quantities_seen; /* as many rows had room */
    char say[320];
    bool say_fault;

    struct view_layout layout;
    struct view_transform t;
    struct view_tone tone;
    bool fitted;
    struct geo_point pointer, press, last; /* window px */
    bool pointer_in;
    struct geo_point cross; /* film px: the keyboard's pointer */
    bool has_cross;
    enum view_drag drag;
    bool moved; /* the drag or the nudges changed the sheet since the last step of history */
    struct sheet_notes odd; /* what the check of the last edit has to say that is no error */
    bool stale;             /* result is older than the marks */
    bool background;        /* someone else measures when it is stale */
    unsigned long edits;    /* counts changes of the marks */

    enum view_find_state finding, find_due;
    bool left_out[STEPS]; /* no pin was found, no size is known, or a person passed the step over */
    bool no_pin;          /* the film shows none, as far as is known: the step is open, not owed */
    bool dates_asked;
    bool quit;
};
int view_state_init(struct view_state *v, const struct exam_options *o, struct err *err);
void view_state_release(struct view_state *v);
/* Opens a film or a sheet; the sheet beside a film is taken up. Needs no state: for a thread. */
int view_exam_open(const char *path, const struct exam_options *o, struct exam *e, struct err *err);
/* The same into the state, at once. */
int view_open(struct view_state *v, const char *path, struct err *err);
/* Notes what is to be opened beside the window. */
int view_open_later(struct view_state *v, const char *path, struct err *err);
/* It has been: e is taken over; NULL: it could not be, and err, which gets our own fault, says why.
 */
int view_opened(struct view_state *v, struct exam *e, struct err *err);
/* Takes over an exam opened elsewhere. */
int view_adopt(struct view_state *v, struct exam *e, struct err *err);
void view_resize(struct view_state *v, double w, double h, double ui);
void view_say(struct view_state *v, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void view_fault(struct view_state *v, const char *what, const struct err *err);
/* An edit is complete: a step of history, measured anew, journalled soon. One that makes a sheet
 * which could not be read again is taken back and told: false. */
bool view_edited(struct view_state *v);
void view_step_go(struct view_state *v, enum view_step s);
/* The next needed step after `step` that is neither done nor left out; STEPS for none. */
enum view_step view_next(const struct view_state *v, enum view_step step);
/* The target of the next click, or NULL. */
const struct view_target *view_target_now(const struct view_state *v);
void view_undo(struct view_state *v, bool redo);
bool view_unsaved(const struct view_state *v);
int view_save(struct view_state *v);
void view_record(struct view_state *v);
/* The same; where no date is stated, once after it and what belongs to it was asked for. */
void view_record_dated(struct view_state *v);
/* The marks were changed: to be measured anew. */
void view_changed(struct view_state *v);
/* Measures at once when the result is stale. */
void view_measure(struct view_state *v);
/* Work for quiet moments: measuring after a drag's moves, the journal. True when it did something.
 */
bool view_idle(struct view_state *v);
/* The finder has come back with a sheet. */
void view_found(struct view_state *v, const struct sheet *found, size_t n_pins);
/* Gauges whose sizes are known and whose ends are not; returns how many. */
size_t view_gauges_open(const struct sheet *s, struct exam_gauge out[SHEET_GAUGES]);

/* --- view_journal.c: unsaved work survives ------------------------------------------------------
 */

int view_journal_write(const char *path, const struct sheet *s, struct err *err);
/* ERR_NOTFOUND when there is none. */
int view_journal_read(const char *path, const struct film *film, struct sheet *out,
                      struct err *err);
void view_journal_remove(const char *path);
/* Keeps other windows off the film until the descriptor is closed or the process ends, however it
 * ends. lock = -1, and 0, where the file system knows no locks; ERR_IO when another window has it.
 */
int view_lock(const char *film, int *lock, struct err *err);
struct view_stamp view_stamp_of(const char *path);
bool view_stamp_same(struct view_stamp a, struct view_stamp b);
/* FILM's sheet: site35.png -> site35.sheet.json; a sheet's journal: SHEET.unsaved. */
char *view_sheet_path(const char *film, struct err *err);
char *view_journal_path(const char *sheet, struct err *err);

/* --- view_command.c: keys, commands --------------------------------------------------------------
 */

enum view_modifier { VIEW_SHIFT = 1, VIEW_CTRL = 2, VIEW_ALT = 4 };
enum view_command {
    CMD_NONE,
    CMD_CONFIRM,
    CMD_LEAVE_OUT,
    CMD_CONFIRM_ALL,
    CMD_NEXT_MARK,
    CMD_PREVIOUS_MARK,
    CMD_STEP, /* argument: the step */
    CMD_PLACE,
    CMD_MOVE, /* argument: direction */
    CMD_PAN,  /* argument: direction */
    CMD_DELETE,
    CMD_CUT,
    CMD_LEAVE,
    CMD_UNDO,
    CMD_REDO,
    CMD_ZOOM_IN,
    CMD_ZOOM_OUT,
    CMD_FIT,
    CMD_ACTUAL,
    CMD_TURN,
    CMD_TURN_BACK,
    CMD_MOUTH,
    CMD_BRIGHTER,
    CMD_DARKER,
    CMD_HARDER,
    CMD_SOFTER,
    CMD_INVERT,
    CMD_PLAIN,
    CMD_VEIL, /* while held */
    CMD_SNAP,
    CMD_LENS,
    CMD_PLAN,
    CMD_SAVE,
    CMD_RECORD,
    CMD_MORE, /* argument: +1, -1 */
    CMD_HELP,
    CMD_NOTES,
    CMD_CLOSE,
    COMMANDS
};
enum view_direction { GO_LEFT, GO_RIGHT, GO_UP, GO_DOWN };
struct view_key {
    const char *keysym; /* X's name of it */
    unsigned modifiers;
    enum view_command command;
    int argument;
};
extern const struct view_key view_keys[];
extern const size_t view_n_keys;
/* The help page's lines; NULL keys: a heading. */
struct view_help {
    const char *keys, *what;
};
extern const struct view_help view_help[];
extern const size_t view_n_help;

void view_do(struct view_state *v, enum view_command c, int argument, unsigned modifiers);
/* To the next needed step, if there is one. */
void view_go_on(struct view_state *v);

/* --- view_typing.c -------------------------------------------------------------------------------
 */

/* A key of the open question or choice; true when it was taken. */
bool view_type_key(struct view_state *v, const char *keysym, unsigned modifiers);
void view_type_text(struct view_state *v, const char *utf8, size_t len);
/* The same for what is pasted: the whole of it or, told, nothing. */
void view_paste_text(struct view_state *v, const char *utf8, size_t len);
bool view_typing(const struct view_state *v);

/* --- view_pointer.c ----------------------------------------------------------------------------
 */

enum view_button {
    BUTTON_LEFT = 1,
    BUTTON_MIDDLE = 2,
    BUTTON_RIGHT = 3,
    WHEEL_UP = 4,
    WHEEL_DOWN = 5
};
void view_press(struct view_state *v, struct geo_point at, int button);
void view_move(struct view_state *v, struct geo_point at);
void view_let_go(struct view_state *v, struct geo_point at, int button);
void view_leave(struct view_state *v);
/* Places what the step asks for at a point of the film. */
void view_place(struct view_state *v, struct geo_point film);
/* The handle under a window point: its path into name; false for none. */
bool view_hit(const struct view_state *v, struct geo_point at, char name[VIEW_NAME]);

/* --- view_foot.c: one line, what the next click or key does --------------------------------------
 */

void view_foot_words(const struct view_state *v, char out[320]);

/* --- view_scene.c, view_scene_column.c: what is on the screen
 * -------------------------------------- */

enum view_hue {
    VIEW_PIN,
    VIEW_MESIAL,
    VIEW_DISTAL,
    VIEW_SITE,
    VIEW_BOUND,
    VIEW_PLAN,
    VIEW_WORDS,
    VIEW_DIM,
    VIEW_GROUND,
    VIEW_GROUND_LIT,
    VIEW_DARK,
    VIEW_RULE,
    VIEW_NOTICE,
    VIEW_WARN,
    VIEW_HUES
};
enum view_pattern { LINE_SOLID, LINE_AXIS, LINE_DOTS, LINE_DASH, LINE_PLAN };
enum view_shape {
    SHAPE_FILL,
    SHAPE_LINE,
    SHAPE_RING,
    SHAPE_DIAMOND,
    SHAPE_SQUARE,
    SHAPE_DOT,
    SHAPE_CROSS,
    SHAPE_TEXT,
    SHAPE_EDIT,
    SHAPE_LENS
};
enum view_align { ALIGN_LEFT, ALIGN_RIGHT, ALIGN_MIDDLE };
struct view_item {
    enum view_shape shape;
    enum view_hue hue;
    enum view_pattern pattern;
    enum view_align align;
    bool on_film; /* cut at the film's area */
    bool bold;
    bool wrap;           /* a text of several lines, from the top of its box */
    double width;        /* px, of a line */
    double size;         /* px, of a text's letters */
    struct view_box box; /* all it covers; a text's place */
    struct geo_point at; /* centre of a sign; film px of a lens */
    double r;            /* of a sign; magnification of a lens */
    size_t first, n;     /* points, or bytes of text */
    size_t caret;
    size_t lead; /* bytes of a question before what is typed */
    bool chosen; /* what follows them is replaced by the next letter */
};
struct view_scene {
    struct view_item *item;
    size_t n, cap;
    struct geo_point *point;
    size_t n_points, cap_points;
    char *text;
    size_t n_text, cap_text;
    bool failed;
};
void view_scene_release(struct view_scene *s);
void view_scene_make(struct view_scene *s, struct view_state *v);
/* Boxes of what differs, up to max; returns how many (more than max: the last one is the hull). */
size_t view_scene_changes(const struct view_scene *old, const struct view_scene *now,
                          struct view_box *out, size_t max);
/* Adding, for the files of the scene. */
void scene_fill(struct view_scene *s, struct view_box b, enum view_hue hue);
void scene_text(struct view_scene *s, struct view_box b, const char *text, double size,
                enum view_hue hue, enum view_align align, bool bold);
void scene_column(struct view_scene *s, struct view_state *v);
void scene_foot(struct view_scene *s, const struct view_state *v);
void scene_help(struct view_scene *s, const struct view_state *v);
/* --- view_notes.c: what to take note of, as the report says it ---------------------------------
 */

/* The k-th line, each once; NULL when there are no more. */
const char *view_note(const struct view_state *v, size_t k);
/* A line's room in the column at the top of b, with the first of them; returns what is left. */
struct view_box scene_note(struct view_scene *s, const struct view_state *v, struct view_box b);
void scene_notes_page(struct view_scene *s, const struct view_state *v);

void view_layout_make(struct view_layout *l, double w, double h, double ui);
int view_layout_step_at(const struct view_layout *l, struct geo_point p);
struct view_box view_layout_step(const struct view_layout *l, size_t i);
struct view_box view_layout_quantities(const struct view_layout *l);

/* --- view_beside.c: opening, finding and measuring beside the window
 * ---------------------------------------- */

struct view_beside;
/* In a thread: opens what v->open_path names; or, on a copy of the sheet, finds the pin, or
 * measures. fd becomes readable when it is done. */
struct view_beside *view_beside_open(const struct view_state *v, struct err *err);
struct view_beside *view_beside_find(const struct view_state *v, struct err *err);
struct view_beside *view_beside_measure(const struct view_state *v, struct err *err);
int view_beside_fd(const struct view_beside *b);
/* Waits for it, hands over what came out and frees b; returns how it went. */
int view_beside_finish(struct view_beside *b, struct view_state *v, struct err *err);
/* The window goes: the thread is left to the end of the process. */
void view_beside_leave(struct view_beside *b);

#endif
