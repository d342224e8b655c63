/* Looks over a page of HTML with inline SVG, written in the strict way that
 * XML asks for. */
#ifndef TAG_BALANCE_H
#define TAG_BALANCE_H

#include <stddef.h>

/* What is wrong first, in `problem`: an element that is not closed or closed in
 * the wrong order, an attribute without quotes or given twice, a bare "&" or
 * "<", an id used twice, an href that is no id of the page. "" if all is well.
 * Contents of <script> and <style> are passed over. */
const char *tag_balance(const char *html, char problem[256]);

#endif
