/*
 * What is typed: keys through the table of commands, text through the input method (dead keys and
 * all), paste. Shortcuts are Latin letters on any keyboard layout.
 */
#include "viewer/view_window_internal.h"

#include <X11/XKBlib.h>
#include <X11/Xatom.h>
#include <X11/keysym.h>
#include <string.h>

enum { TYPED_MAX = 256, PASTE_MAX = SHEET_TEXT };

void view_input_open(struct view_window *w)
{
    if (XSupportsLocale())
        (void)XSetLocaleModifiers("");
    w->im = XOpenIM(w->display, NULL, NULL, NULL);
    if (w->im == NULL && XSetLocaleModifiers("@im=none") != NULL)
        w->im = XOpenIM(w->display, NULL, NULL, NULL);
    if (w->im != NULL)
        w->ic = XCreateIC(w->im, XNInputStyle, XIMPreeditNothing | XIMStatusNothing, XNClientWindow,
                          w->window, XNFocusWindow, w->window, (char *)NULL);
    if (w->ic != NULL)
        XSetICFocus(w->ic);
    XkbSetDetectableAutoRepeat(w->display, True, NULL);
}

void view_input_close(struct view_window *w)
{
    if (w->ic != NULL)
        XDestroyIC(w->ic);
    if (w->im != NULL)
        XCloseIM(w->im);
    w->ic = NULL;
    w->im = NULL;
}

/* --- keys --------------------------------------------------------------------------------------
 */

static unsigned modifiers_of(unsigned state)
{
    return (state & ShiftMask ? VIEW_SHIFT : 0u) | (state & ControlMask ? VIEW_CTRL : 0u) |
           (state & Mod1Mask ? VIEW_ALT : 0u);
}

/* On a layout without Latin letters the key's own first symbol stands in. */
static KeySym symbol_of(struct view_window *w, XKeyEvent *e)
{
    KeySym sym = NoSymbol;
    char text[8];
    XLookupString(e, text, sizeof text, &sym, NULL);
    if (sym > 0xFF && sym < 0xFE00) {
        KeySym first = XkbKeycodeToKeysym(w->display, (KeyCode)e->keycode, 0, 0);
        sym = first != NoSymbol ? first : sym;
    }
    return sym >= XK_A && sym <= XK_Z ? sym - XK_A + XK_a : sym;
}

static const struct view_key *key_of(const char *name, unsigned modifiers)
{
    for (size_t i = 0; i < view_n_keys; i++)
        if (view_keys[i].modifiers == modifiers && strcmp(view_keys[i].keysym, name) == 0)
            return &view_keys[i];
    return NULL;
}

/* Text of the key as UTF-8; 0 for none or a control character. */
static int typed(struct view_window *w, XKeyEvent *e, char text[TYPED_MAX])
{
    KeySym sym;
    Status status = XLookupNone;
    int n = w->ic != NULL ? Xutf8LookupString(w->ic, e, text, TYPED_MAX - 1, &sym, &status)
                          : XLookupString(e, text, TYPED_MAX - 1, &sym, NULL);
    if (w->ic != NULL && status != XLookupChars && status != XLookupBoth)
        return 0;
    return n == 1 && ((unsigned char)text[0] < 0x20 || text[0] == 0x7F) ? 0 : n;
}

void view_input_key(struct view_window *w, XKeyEvent *e)
{
    struct view_state *v = &w->state;
    unsigned modifiers = modifiers_of(e->state);
    KeySym sym = symbol_of(w, e);
    const char *name = XKeysymToString(sym);
    char text[TYPED_MAX];
    if (modifiers == VIEW_CTRL && sym == XK_v && view_typing(v)) {
        view_input_paste(w, w->atom[ATOM_CLIPBOARD]);
        return;
    }
    if (modifiers == VIEW_SHIFT && (sym == XK_Insert || sym == XK_KP_Insert) && view_typing(v)) {
        view_input_paste(w, XA_PRIMARY);
        return;
    }
    if (name != NULL && view_type_key(v, name, modifiers))
        return;
    if (view_typing(v)) {
        int n = typed(w, e, text);
        if (n > 0 && !(modifiers & VIEW_CTRL))
            view_type_text(v, text, (size_t)n);
        return;
    }
    const struct view_key *key = name ? key_of(name, modifiers) : NULL;
    if (key == NULL && name != NULL && (modifiers & VIEW_SHIFT)) /* digits of some layouts */
        key = sym > XK_space && sym < XK_a ? key_of(name, modifiers & ~(unsigned)VIEW_SHIFT) : NULL;
    if (key != NULL)
        view_do(v, key->command, key->argument, key->modifiers);
}

void view_input_key_up(struct view_window *w, XKeyEvent *e)
{
    const char *name = XKeysymToString(symbol_of(w, e));
    const struct view_key *key = name ? key_of(name, 0) : NULL;
    if (key != NULL && key->command == CMD_VEIL)
        w->state.hide = false;
}

/* --- paste -------------------------------------------------------------------------------------
 */

void view_input_paste(struct view_window *w, Atom selection)
{
    XConvertSelection(w->display, selection, w->atom[ATOM_UTF8], w->atom[ATOM_PASTE], w->window,
                      CurrentTime);
}

void view_input_pasted(struct view_window *w, const XSelectionEvent *e)
{
    Atom type;
    int format;
    unsigned long n, left;
    unsigned char *data = NULL;
    if (e->property == None) {
        view_say(&w->state, "Nothing to paste: no text");
        return;
    }
    if (XGetWindowProperty(w->display, w->window, e->property, 0, PASTE_MAX / 4, False,
                           AnyPropertyType, &type, &format, &n, &left, &data) != Success)
        return;
    XDeleteProperty(w->display, w->window, e->property);
    /* what comes in pieces (INCR) is longer than any answer */
    if (left > 0 || type == w->atom[ATOM_INCR])
        view_say(&w->state, "Not pasted: longer than fits here");
    else if (data != NULL && format == 8 && type == w->atom[ATOM_UTF8])
        view_paste_text(&w->state, (const char *)data, n);
    if (data != NULL)
        XFree(data);
}
