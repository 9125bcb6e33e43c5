/* What a request does. */
#ifndef SCANNER_COMMANDS_H
#define SCANNER_COMMANDS_H

void commands_start(void); /* loads the calibration and says that the board has started */
void commands_step(void);  /* answers what has arrived; rests when nothing has */

#endif
