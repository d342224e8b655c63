/* The version, in one place: --version, provenance of results, pkg-config. */
#ifndef NRW_VERSION_H
#define NRW_VERSION_H

#define NRW_VERSION "0.1.0"

#endif
