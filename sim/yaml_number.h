/* Numbers in the spellings of YAML 1.1 and 1.2. */
#ifndef NRW_YAML_NUMBER_H
#define NRW_YAML_NUMBER_H

typedef enum nrw_yaml_number_kind {
    NRW_YAML_NUMBER,           /* value set */
    NRW_YAML_NOT_A_NUMBER,     /* no number in either version: a text */
    NRW_YAML_NOT_FINITE,       /* .nan, .inf */
    NRW_YAML_NUMBER_TOO_LARGE, /* beyond the range of a double */
    NRW_YAML_NUMBER_TOO_SMALL, /* not zero, but nearer to it than any double */
    NRW_YAML_NUMBER_AMBIGUOUS, /* 010: 8 in YAML 1.1, 10 in YAML 1.2 */
    NRW_YAML_NUMBER_TOO_LONG   /* more than NRW_YAML_NUMBER_LENGTH_MAX characters */
} nrw_yaml_number_kind;

#define NRW_YAML_NUMBER_LENGTH_MAX 400

/* Reads the text of a plain scalar: decimal (5, +3, -2.5, .5, 5., 1e-5, 1.0E+5),
 * hexadecimal 0x1F, octal 0o17 (1.2), binary 0b101 (1.1), with underscores
 * between the digits (1_000, 1.1) and in base 60 (5:30 = 330, 1.1). Leading
 * zeros mean octal in 1.1 and nothing in 1.2: where the two differ, the number
 * is ambiguous. Sources: YAML 1.1 types int and float (2005), YAML 1.2.2
 * section 10.3.2. Independent of the locale; thread safe as long as nobody
 * changes it meanwhile. */
nrw_yaml_number_kind nrw_yaml_number_read(const char *text, double *value);

#endif
