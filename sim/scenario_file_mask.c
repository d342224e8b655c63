/* The mask block of a channel: a picture beside the scenario, and what is extracted
 * from it. */
#include <stdlib.h>
#include <string.h>

#include "mask.h"
#include "scenario_file.h"
#include "sha256.h"

#define N(array) (sizeof(array) / sizeof *(array))

/* A side of 16384 pixels stays within the coordinates of a map. */
#define PIXELS NRW_ABOVE_TO(0.0, 600.0)

static void read_flip(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_mask_frame *frame)
{
    static const char *const words[] = {"none", "x", "y", "both", "horizontal", "vertical"};
    int choice = node ? nrw_yaml_choice(doc, node, words, N(words)) : 0;
    frame->flip_x = choice == 1 || choice == 3 || choice == 4;
    frame->flip_y = choice == 2 || choice == 3 || choice == 5;
}

static bool read_request(nrw_yaml_doc *doc, const nrw_yaml_node *node, nrw_mask_request *request)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED_OTHER("file"),
        NRW_REQUIRED("pixel_um", NRW_YAML_DOUBLE, nrw_mask_request, frame.pixel_um, PIXELS),
        NRW_OPTIONAL_OTHER("origin_um"),
        NRW_OPTIONAL_OTHER("flip"),
        NRW_OPTIONAL("rotate_deg", NRW_YAML_DOUBLE, nrw_mask_request, frame.rotate_deg,
                     NRW_FROM_TO(-360.0, 360.0)),
        NRW_OPTIONAL("threshold", NRW_YAML_DOUBLE, nrw_mask_request, threshold,
                     NRW_ABOVE_TO(0.0, 1.0)),
    };
    size_t before = nrw_yaml_n_errors(doc);
    memset(request, 0, sizeof *request);
    request->threshold = 0.5;
    if (!nrw_yaml_is_map(doc, node))
        return false;
    (void)nrw_yaml_fields(doc, node, fields, N(fields), request);
    const nrw_yaml_node *origin = nrw_yaml_get(node, "origin_um");
    if (origin)
        (void)nrw_yaml_vector(doc, origin, 2, 2, (nrw_yaml_range)NRW_COORDINATES, "[x, y] in µm",
                              request->frame.origin_um, NULL);
    read_flip(doc, nrw_yaml_get(node, "flip"), &request->frame);
    return nrw_yaml_n_errors(doc) == before;
}

static void extract(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_mask_request *request,
                    char *path, char *bytes, size_t n_bytes, nrw_map *map)
{
    nrw_picture picture;
    char fault[256] = "is no picture";
    nrw_status status = nrw_picture_parse(bytes, n_bytes, &picture, fault, sizeof fault);
    if (status == NRW_OK) {
        status = nrw_mask_extract(&picture, request, map, fault, sizeof fault);
        nrw_picture_clear(&picture);
    }
    if (status == NRW_OK) {
        map->mask->file = path;
        map->mask->bytes = bytes;
        map->mask->n_bytes = n_bytes;
        nrw_sha256_hex(bytes, n_bytes, map->mask->sha256);
        return;
    }
    if (status == NRW_BAD_INPUT)
        (void)nrw_yaml_error(doc, node, "a PGM or PNG picture, white where the fluid is",
                             "'%.120s' %s", path, fault);
    else
        (void)nrw_yaml_no_memory(doc);
    free(path);
    free(bytes);
}

void nrw_scenario_read_mask(nrw_yaml_doc *doc, const nrw_yaml_node *channel, nrw_scenario *scenario)
{
    const nrw_yaml_node *node = nrw_yaml_get(channel, "mask");
    nrw_mask_request request;
    if (!node || !read_request(doc, node, &request))
        return;
    const nrw_yaml_node *file_node = nrw_yaml_get(node, "file");
    const char *file = nrw_yaml_text(doc, file_node, "the path of a picture");
    if (!file || nrw_yaml_n_errors(doc) > 0)
        return;
    memcpy(request.release_um, scenario->release.at_um, sizeof request.release_um);
    /* The mean of start positions may lie in a wall: the first one will do. */
    if (!scenario->has_release && scenario->particles.positions_um)
        memcpy(request.release_um, scenario->particles.positions_um[0], sizeof request.release_um);
    char *bytes = NULL;
    size_t n_bytes = 0;
    char *path = nrw_scenario_load_beside(doc, file_node, scenario->path, file,
                                          "a PGM or PNG picture, its path from the scenario's",
                                          &bytes, &n_bytes);
    if (path)
        extract(doc, file_node, &request, path, bytes, n_bytes, &scenario->map);
}
