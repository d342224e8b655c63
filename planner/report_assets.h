/* Files embedded when the program is built: report.css, report_picture.css and
 * report.js as bytes with a terminating 0 (the rule for report_assets.c is in the Makefile). */
#ifndef NRW_REPORT_ASSETS_H
#define NRW_REPORT_ASSETS_H

extern const unsigned char nrw_report_css[];
extern const unsigned char nrw_report_picture_css[];
extern const unsigned char nrw_report_js[];

#endif
