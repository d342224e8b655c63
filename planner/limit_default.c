/* The limits that come with the program: the lines of docs/limits.yaml, which is
 * the place to read and change them; a test compares the two. */
#include "limit.h"

#include <stdlib.h>
#include <string.h>

static const char *const lines[] = {
    "# Limits that Narrows compares an export with: figures to inform, each with who",
    "# it is for, where it counts, its source and date. Edit a copy and give it with",
    "# --limits FILE; docs/limits.md tells what each law computes. Nothing here says",
    "# that anything is allowed: that is for those who are responsible on the spot.",
    "format: narrows-limits/1",
    "limits:",
    "  - name: public-alternating",
    "    law: reference_level",
    "    who: general public, whole body",
    "    where: where people may be; the figure is for the middle of the coils",
    "    source: ICNIRP 2010, Health Phys. 99:818, Table 4 (seen in a reprint)",
    "    date: \"2010\"",
    "    action: keep people away from the coils while they run, and measure at the places where "
    "they stand",
    "    # [from Hz, below Hz, level in mT rms at 1 Hz, power of the frequency]",
    "    rms_mT: [[1, 8, 40, -2], [8, 25, 5, -1], [25, 400, 0.2, 0], [400, 3000, 80, -1], [3000, "
    "1.0e+7, 0.027, 0]]",
    "  - name: occupational-alternating",
    "    law: reference_level",
    "    who: trained people at work, whole body",
    "    where: where people work; the figure is for the middle of the coils",
    "    source: ICNIRP 2010, Health Phys. 99:818, Table 3 (seen in a handbook reprint)",
    "    date: \"2010\"",
    "    action: keep hands and head out of the coils while they run, and measure at the workplace",
    "    rms_mT: [[1, 8, 200, -2], [8, 25, 25, -1], [25, 300, 1, 0], [300, 3000, 300, -1], [3000, "
    "1.0e+7, 0.1, 0]]",
    "  - name: public-static",
    "    law: static_level",
    "    who: general public, any part of the body",
    "    where: where people may be; the figure is for the middle of the coils",
    "    source: ICNIRP 2009, Health Phys. 96:504 (from memory)",
    "    date: \"2009\"",
    "    action: mark the place and keep people away",
    "    static_mT: 400",
    "  - name: occupational-static",
    "    law: static_level",
    "    who: trained people at work, head and trunk",
    "    where: where people work; the figure is for the middle of the coils",
    "    source: ICNIRP 2009, Health Phys. 96:504 (from memory)",
    "    date: \"2009\"",
    "    action: keep the head out of the coils",
    "    static_mT: 2000",
    "  - name: implants",
    "    law: field_level",
    "    who: people with implanted electronic devices or ferromagnetic implants",
    "    where: where they may be; the figure is for the middle of the coils",
    "    source: ICNIRP 2009, Health Phys. 96:504, for static fields (from memory); taken here for "
    "fields of any frequency, out of caution",
    "    date: \"2009\"",
    "    action: put up the sign for implants where the field exceeds this and keep those people "
    "out",
    "    field_mT: 0.5",
    "  - name: nerve-stimulation-normal",
    "    law: nerve_stimulation",
    "    who: patients in a scanner, normal mode; taken over as a yardstick for a body part inside "
    "the coils",
    "    where: inside the coils",
    "    source: form of IEC 60601-2-33:2010; 20 T/s and 0.36 ms from memory",
    "    date: \"2010\"",
    "    action: keep body parts out of the coils, or lower field or frequency",
    "    rheobase_T_s: 20",
    "    chronaxie_ms: 0.36",
    "    share: 0.8",
    "  - name: nerve-stimulation-first-level",
    "    law: nerve_stimulation",
    "    who: patients in a scanner, first level controlled mode; a yardstick for a body part "
    "inside the coils",
    "    where: inside the coils",
    "    source: form of IEC 60601-2-33:2010; 20 T/s and 0.36 ms from memory",
    "    date: \"2010\"",
    "    action: keep body parts out of the coils, or lower field or frequency",
    "    rheobase_T_s: 20",
    "    chronaxie_ms: 0.36",
    "    share: 1.0",
    "  - name: heating-product",
    "    law: field_frequency",
    "    who: tissue in the field, trunk of 30 cm, treatment of about an hour",
    "    where: inside the coils",
    "    source: Atkinson, Brezovich and Chakraborty 1984, IEEE Trans. Biomed. Eng. 31:70 (number "
    "from memory, widely quoted)",
    "    date: \"1984\"",
    "    action: lower field or frequency",
    "    product_A_m_s: 4.85e+8",
    "  - name: heating-product-small",
    "    law: field_frequency",
    "    who: tissue in the field, small body part",
    "    where: inside the coils",
    "    source: Hergt and Dutz 2007, J. Magn. Magn. Mater. 311:187 (from memory)",
    "    date: \"2007\"",
    "    action: lower field or frequency",
    "    product_A_m_s: 5.0e+9",
    "  - name: stored-energy",
    "    law: stored_energy",
    "    who: whoever opens the circuit",
    "    where: at the terminals, all coils together",
    "    source: IEC 60950-1, hazardous energy level (from memory)",
    "    date: \"2005\"",
    "    action: fit a freewheeling path, and don't unplug a coil that carries current",
    "    energy_J: 20",
    "  - name: touch-voltage",
    "    law: touch_voltage",
    "    who: whoever touches a terminal, dry",
    "    where: at the terminals",
    "    source: IEC 61010-1:2010, hazardous live, 42.4 V peak (from memory)",
    "    date: \"2010\"",
    "    action: cover the terminals",
    "    peak_V: 42.4",
    "  - name: touch-temperature",
    "    law: coil_temperature",
    "    who: whoever touches a winding for up to a minute",
    "    where: at the winding",
    "    source: ISO 13732-1:2006, bare metal (from memory)",
    "    date: \"2006\"",
    "    action: let the coils cool, cool them, or guard them",
    "    temperature_C: 51",
    "  - name: sample-heating",
    "    law: sample_heating",
    "    who: the sample",
    "    where: inside the coils",
    "    source: our own choice; viscosity of water falls by 2 % a degree",
    "    action: lower field or frequency, or allow for the warmer fluid",
    "    rise_K: 1",
};

char *nrw_limits_default_text(void)
{
    const size_t n_lines = sizeof lines / sizeof *lines;
    size_t size = 1;
    for (size_t i = 0; i < n_lines; i++)
        size += strlen(lines[i]) + 1;
    char *text = malloc(size), *end = text;
    for (size_t i = 0; text && i < n_lines; i++) {
        const size_t length = strlen(lines[i]);
        memcpy(end, lines[i], length);
        end[length] = '\n';
        end += length + 1;
    }
    if (text)
        *end = '\0';
    return text;
}
