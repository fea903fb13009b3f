/*
 * One unit of a class: what provisioning gave it, joined with the ports. The class comes from the header that `fieldseal header`
 * writes; what belongs to this one unit lies where provisioning put it. EXAMPLE: keys in readable memory, flash that is emulated.
 */
#ifndef FIELDSEAL_EXAMPLE_UNIT_H
#define FIELDSEAL_EXAMPLE_UNIT_H

#include "fieldseal/kit.h"

/* Gets a unit ready: FS_OK, or why its header, its flash and the kit do not fit together. `running` as in fs_device. */
fs_status unit_begin(fs_device *device, int8_t running);

/* Address at which the processor sees a slot. */
uint32_t unit_slot_address(uint32_t slot);

#endif
