#include "yaml_out.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <yaml.h>

#include "number.h"

struct nrw_yaml_out {
    yaml_emitter_t emitter;
    char *text; /* owned until nrw_yaml_out_finish */
    size_t size, capacity;
    bool failed; /* everything after the first failure is dropped */
};

static int append(void *context, unsigned char *bytes, size_t size)
{
    nrw_yaml_out *out = context;
    if (out->capacity - out->size <= size) {
        size_t capacity = 2 * (out->capacity + size) + 1024;
        char *text = realloc(out->text, capacity);
        if (!text)
            return 0;
        out->text = text;
        out->capacity = capacity;
    }
    memcpy(out->text + out->size, bytes, size);
    out->size += size;
    out->text[out->size] = '\0';
    return 1;
}

/* `made` says whether libyaml could make the event. */
static void emit(nrw_yaml_out *out, int made, yaml_event_t *event)
{
    if (made && out->failed)
        yaml_event_delete(event);
    else if (!made || !yaml_emitter_emit(&out->emitter, event)) /* which takes the event over */
        out->failed = true;
}

nrw_yaml_out *nrw_yaml_out_create(void)
{
    yaml_event_t event;
    nrw_yaml_out *out = calloc(1, sizeof *out);
    if (!out || !yaml_emitter_initialize(&out->emitter)) {
        free(out);
        return NULL;
    }
    yaml_emitter_set_output(&out->emitter, append, out);
    yaml_emitter_set_unicode(&out->emitter, 1);
    yaml_emitter_set_width(&out->emitter, -1);
    emit(out, yaml_stream_start_event_initialize(&event, YAML_UTF8_ENCODING), &event);
    emit(out, yaml_document_start_event_initialize(&event, NULL, NULL, NULL, 1), &event);
    return out;
}

nrw_status nrw_yaml_out_finish(nrw_yaml_out *out, char **text)
{
    yaml_event_t event;
    emit(out, yaml_document_end_event_initialize(&event, 1), &event);
    emit(out, yaml_stream_end_event_initialize(&event), &event);
    if (!out->failed && !yaml_emitter_flush(&out->emitter))
        out->failed = true;
    yaml_emitter_delete(&out->emitter);
    nrw_status status = out->failed || !out->text ? NRW_NO_MEMORY : NRW_OK;
    if (status != NRW_OK) {
        free(out->text);
        out->text = NULL;
    }
    *text = out->text;
    free(out);
    return status;
}

void nrw_yaml_out_begin_map(nrw_yaml_out *out, bool flow)
{
    yaml_event_t event;
    emit(out,
         yaml_mapping_start_event_initialize(
             &event, NULL, NULL, 1, flow ? YAML_FLOW_MAPPING_STYLE : YAML_BLOCK_MAPPING_STYLE),
         &event);
}

void nrw_yaml_out_end_map(nrw_yaml_out *out)
{
    yaml_event_t event;
    emit(out, yaml_mapping_end_event_initialize(&event), &event);
}

void nrw_yaml_out_begin_list(nrw_yaml_out *out, bool flow)
{
    yaml_event_t event;
    emit(out,
         yaml_sequence_start_event_initialize(
             &event, NULL, NULL, 1, flow ? YAML_FLOW_SEQUENCE_STYLE : YAML_BLOCK_SEQUENCE_STYLE),
         &event);
}

void nrw_yaml_out_end_list(nrw_yaml_out *out)
{
    yaml_event_t event;
    emit(out, yaml_sequence_end_event_initialize(&event), &event);
}

static void scalar(nrw_yaml_out *out, const char *text, yaml_scalar_style_t style)
{
    yaml_event_t event;
    emit(out,
         yaml_scalar_event_initialize(&event, NULL, NULL, (const yaml_char_t *)text,
                                      (int)strlen(text), 1, 1, style),
         &event);
}

void nrw_yaml_out_key(nrw_yaml_out *out, const char *key)
{
    nrw_yaml_out_text(out, key);
}

void nrw_yaml_out_number(nrw_yaml_out *out, double value)
{
    char text[NRW_NUMBER_SIZE];
    scalar(out, nrw_number_text(value, text), YAML_PLAIN_SCALAR_STYLE);
}

/* Words that begin with a letter and hold nothing that YAML knows; the rest is
 * quoted. "null" would be no text at all. */
static bool needs_no_quotes(const char *text)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    static const char inner[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-/ ";
    size_t length = strlen(text);
    return strspn(text, letters) > 0 && strspn(text, inner) == length && text[length - 1] != ' ' &&
           strcmp(text, "null") != 0 && strcmp(text, "Null") != 0 && strcmp(text, "NULL") != 0;
}

void nrw_yaml_out_text(nrw_yaml_out *out, const char *text)
{
    scalar(out, text,
           needs_no_quotes(text) ? YAML_PLAIN_SCALAR_STYLE : YAML_DOUBLE_QUOTED_SCALAR_STYLE);
}

void nrw_yaml_out_pair(nrw_yaml_out *out, const char *key, double value)
{
    nrw_yaml_out_key(out, key);
    nrw_yaml_out_number(out, value);
}

void nrw_yaml_out_word(nrw_yaml_out *out, const char *key, const char *text)
{
    nrw_yaml_out_key(out, key);
    nrw_yaml_out_text(out, text);
}
