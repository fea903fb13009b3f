/* Registers of the invented greenhouse board. A read or write goes to the hardware each time. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

/* Input: temperature in 1/100 degree Celsius, two's complement; INT32_MIN where the sensor does not answer. */
#define BOARD_TEMPERATURE (*(const volatile int32_t *)0x40000000u)
/* Input: bit 0 rain, bit 1 tank empty, bit 2 acknowledge button, bit 3 flow seen while the pump runs. */
#define BOARD_INPUTS (*(const volatile uint32_t *)0x40000004u)
/* Input: conductivity in microsiemens per centimetre; UINT32_MAX where the sensor does not answer. */
#define BOARD_CONDUCTIVITY (*(const volatile uint32_t *)0x40000008u)
/* Output: opening of the vent in per mille. */
#define BOARD_VENT (*(volatile uint32_t *)0x40000010u)
/* Output: 1 runs the dosing pump, 0 stops it. */
#define BOARD_PUMP (*(volatile uint32_t *)0x40000014u)
/* Output: 1 raises the alarm. */
#define BOARD_ALARM (*(volatile uint32_t *)0x40000018u)
/* Output: any write restarts the watchdog, which resets the board after four seconds. */
#define BOARD_WATCHDOG (*(volatile uint32_t *)0x4000001cu)

#define INPUT_RAIN (1u << 0)
#define INPUT_TANK_EMPTY (1u << 1)
#define INPUT_ACKNOWLEDGE (1u << 2)
#define INPUT_FLOW (1u << 3)

/* Waits for the next whole second since start-up. */
void wait_for_second(void);

/* Puts the outputs where they do no harm; each program has its own. Called after a fault. */
void enter_safe_state(void);

int main(void);

#endif
