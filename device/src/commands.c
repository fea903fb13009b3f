/* Commands of a sequence (draft-ietf-suit-manifest section 11.4 and the registrations of the extensions). */
#include "internal.h"

#define CONDITION (FS_CMD_CONDITION | FS_CMD_SHARED)
#define UNSUPPORTED FS_CMD_UNSUPPORTED

/* Code, the parameter that must be set, flags. What the kit leaves out is refused by name (docs/device-kit.md). */
static const fs_command COMMANDS[] = {
    {1, 1, CONDITION},
    {2, 2, CONDITION},
    {3, 3, CONDITION},
    {4, 4, CONDITION},
    {5, 5, CONDITION},
    {6, 18, CONDITION},
    {7, 0, CONDITION | UNSUPPORTED},
    {8, 0, CONDITION | UNSUPPORTED},
    {11, 0, UNSUPPORTED},
    {12, 0, FS_CMD_SHARED | FS_ARG_INDEX},
    {14, 0, CONDITION},
    {15, 0, FS_CMD_SHARED | FS_ARG_BRANCHES},
    {18, 18, FS_CMD_WRITES},
    {19, 0, FS_CMD_SHARED | FS_ARG_PARAMETERS},
    {20, 0, FS_CMD_SHARED | FS_ARG_PARAMETERS},
    {21, 21, FS_CMD_WRITES},
    {22, 22, FS_CMD_WRITES},
    {23, 0, 0},
    {24, 24, CONDITION},
    {25, 3, CONDITION},
    {26, 26, CONDITION},
    {27, 27, CONDITION},
    {28, 28, CONDITION},
    {29, 0, UNSUPPORTED},
    {31, 0, UNSUPPORTED},
    {32, 0, FS_CMD_SHARED | FS_ARG_SEQUENCE},
    {33, 0, UNSUPPORTED},
    {34, 0, UNSUPPORTED},
    {35, 0, UNSUPPORTED},
};

const fs_command *fs_find_command(int32_t code) {
  uint32_t i;
  for (i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++)
    if (COMMANDS[i].code == code) return &COMMANDS[i];
  return 0;
}
