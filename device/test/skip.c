/*
 * Leaves out one machine instruction of the kit after the other and asks about forgeries: none may be accepted. The instruction
 * stays left out for the whole question. Signatures are looked up in a list of those that are good, so that thousands of
 * questions take minutes; the crypto port's own code is not touched.
 */
#include <string.h>

#include "../ports/cortex-m/semihosting.h"
#include "../ports/crypto/crypto-bearssl.h"
#include "class-record.h"
#include "fieldseal/kit.h"

enum { CASE_CLASS = 1, CASE_GOOD = 70, CASE_PLACES = 71, CASE_QUESTION = 72 };
enum { ANSWERED = 0, FAULTED = 1, HUNG = 2 };

#define FILE_SIZE 1048576u
#define CLASSES 4u
#define QUESTIONS 32u
#define ENVELOPE_SIZE 8192u
#define CODE_WORDS 16384u
#define STACK_SIZE 32768u
/* Ticks of 40 instructions each, under -icount shift=0: an answer takes a quarter of that. */
#define PATIENCE 120000u
#define NOP 0xbf00u

typedef struct {
  const class_record *unit;
  fs_bytes marks;
  fs_bytes envelope;
} question;

extern uint32_t kit_begin[], kit_end[], link_stack_top[];
extern uint32_t link_data_load[], link_data_begin[], link_data_end[], link_bss_begin[], link_bss_end[];

static uint8_t file[FILE_SIZE];
static class_record classes[CLASSES];
static question questions[QUESTIONS];
static uint32_t class_count, question_count;
static fs_bytes good, places;
static uint32_t code[CODE_WORDS];
static uint8_t envelope[ENVELOPE_SIZE];
static uint8_t marks[FS_MARKS_MAX];
static fs_software_crypto keys;
static fs_crypto library, crypto;
static const question *asked;
static fs_plan plan;
static volatile fs_status told;
static volatile uint32_t answered;
static int32_t output;

/* The question runs on a stack of its own; exceptions give it up and go on at `back`, with the driver's stack. */
uint32_t process_stack[STACK_SIZE / 4u];
uint32_t driver_stack;
volatile uint32_t ending;

void reset_handler(void);
void ask(void);
void give_up(void);
void run_question(void);
void fault_handler(void);
void tick_handler(void);
void call_handler(void);

__attribute__((naked)) void fault_handler(void) { __asm__ volatile("movs r0, #1\n b give_up"); }
__attribute__((naked)) void tick_handler(void) { __asm__ volatile("movs r0, #2\n b give_up"); }
__attribute__((naked)) void call_handler(void) { __asm__ volatile("movs r0, #0\n b give_up"); }

/* Leaves the exception by a frame of its own making (ARMv7-M ARM, B1.5.6 and B1.5.8). */
__attribute__((naked, used)) void give_up(void) {
  __asm__ volatile(
      "ldr r1, =ending\n str r0, [r1]\n"
      "ldr r1, =driver_stack\n ldr r1, [r1]\n mov sp, r1\n sub sp, sp, #32\n"
      "ldr r0, =back\n bic r0, r0, #1\n str r0, [sp, #24]\n"
      "mov r0, #0x01000000\n str r0, [sp, #28]\n"
      "ldr lr, =0xfffffff9\n bx lr\n");
}

__attribute__((naked, used)) void run_question(void) {
  __asm__ volatile(
      "push {r4-r11, lr}\n"
      "ldr r1, =driver_stack\n mov r0, sp\n str r0, [r1]\n"
      "ldr r0, =process_stack\n add r0, r0, #32768\n msr psp, r0\n"
      "mrs r0, control\n orr r0, r0, #2\n msr control, r0\n isb\n"
      "bl ask\n"
      ".thumb_func\n back:\n"
      "mrs r0, control\n bic r0, r0, #2\n msr control, r0\n isb\n"
      "ldr r1, =driver_stack\n ldr r0, [r1]\n mov sp, r0\n"
      "pop {r4-r11, pc}\n");
}

static fs_status verify_known(void *context, const uint8_t point[64], const uint8_t digest[32], const uint8_t signature[64],
                              uint32_t *again) {
  fs_sha256 state;
  uint8_t id[32];
  volatile uint32_t known = 0;

  (void)library.sha256_start(context, &state);
  (void)library.sha256_update(context, &state, point, 64);
  (void)library.sha256_update(context, &state, digest, 32);
  (void)library.sha256_update(context, &state, signature, 64);
  (void)library.sha256_finish(context, &state, id);
  for (uint32_t i = 0; i < good.length; i += 8u)
    if (memcmp(good.bytes + i, id, 8) == 0) known = 1;
  if (known == 1u) *again = FS_CONFIRMED;
  return known == 1u ? FS_OK : FS_PORT_FAILED;
}

__attribute__((used)) void ask(void) {
  fs_offer offer;

  memset(&offer, 0, sizeof offer);
  offer.envelope.bytes = envelope;
  offer.envelope.length = asked->envelope.length;
  told = fs_check_marks(&asked->unit->unit_class, &crypto, marks, FS_NO_SLOT, &offer, &plan);
  answered = 1;
  __asm__ volatile("svc 0");
}

static void put(const question *next) {
  volatile uint32_t *tick = (volatile uint32_t *)0xe000e010u;

  asked = next;
  memcpy(envelope, next->envelope.bytes, next->envelope.length);
  memcpy(marks, next->marks.bytes, next->marks.length);
  memset(&plan, 0, sizeof plan);
  told = 0;
  answered = 0;
  ending = FAULTED;
  keys.keys = next->unit->keys;
  keys.count = next->unit->key_count;
  library = fs_crypto_bearssl(&keys);
  crypto = library;
  crypto.verify_p256 = verify_known;
  tick[1] = PATIENCE;
  tick[2] = 0;
  tick[0] = 7;
  run_question();
  tick[0] = 0;
}

static int is_accepted(void) { return answered && told == FS_OK && plan.confirmed == FS_CONFIRMED; }

static void tell(const char *word, const uint32_t *numbers, uint32_t count) {
  char line[80];
  uint32_t at = (uint32_t)strlen(word);

  memcpy(line, word, at);
  for (uint32_t i = 0; i < count; i++) {
    line[at++] = ' ';
    for (uint32_t shift = 32; shift > 0; shift -= 4u) line[at++] = "0123456789abcdef"[(numbers[i] >> (shift - 4u)) & 15u];
  }
  line[at++] = '\n';
  (void)semihosting_write(output, line, at);
}

/* What a question with an instruction left out wrote over the code is mended. */
static void mend(void) {
  const uint32_t words = (uint32_t)(kit_end - kit_begin);

  for (uint32_t i = 0; i < words; i++)
    if (kit_begin[i] != code[i]) kit_begin[i] = code[i];
  __asm__ volatile("dsb\n isb" ::: "memory");
}

/* The address of an instruction; its lowest bit is set where it has two halves. */
static void skip(uint32_t address, uint32_t counts[3]) {
  uint16_t *halves = (uint16_t *)(address & ~1u);

  for (uint32_t i = 1; i < question_count; i++) {
    halves[0] = NOP;
    halves[address & 1u] = NOP;
    __asm__ volatile("dsb\n isb" ::: "memory");
    put(&questions[i]);
    mend();
    if (is_accepted()) {
      const uint32_t found[2] = {address & ~1u, i};
      tell("accepted", found, 2);
    } else
      counts[ending < 3u ? ending : 0u]++;
  }
}

static int read_record(record *from) {
  switch (take_u8(from)) {
    case CASE_CLASS:
      return class_count < CLASSES && take_class(from, &classes[class_count++]);
    case CASE_GOOD:
      good = take_bytes(from);
      return 1;
    case CASE_PLACES:
      places = take_bytes(from);
      return 1;
    case CASE_QUESTION:
      if (question_count == QUESTIONS || class_count == 0) return 0;
      questions[question_count].unit = &classes[class_count - 1];
      questions[question_count].marks = take_bytes(from);
      questions[question_count].envelope = take_bytes(from);
      return questions[question_count++].envelope.length <= ENVELOPE_SIZE;
    default:
      return 0;
  }
}

static int read_file(const char *name) {
  const int32_t input = semihosting_open(name, SEMIHOSTING_READ_BINARY);
  record all;

  all.at = file;
  all.end = file + semihosting_read(input, file, sizeof file);
  all.short_of = 0;
  while (all.at < all.end) {
    const fs_bytes one = take_bytes(&all);
    record from;
    from.at = one.bytes;
    from.end = one.bytes + one.length;
    from.short_of = 0;
    if (all.short_of || !read_record(&from) || from.short_of) return 0;
  }
  return (uint32_t)(kit_end - kit_begin) <= CODE_WORDS;
}

static uint32_t number_in(const char *text) {
  uint32_t value = 0;
  while (*text >= '0' && *text <= '9') value = value * 10u + (uint32_t)(*text++ - '0');
  return value;
}

/* Arguments: case file, result file, the place to begin with. */
int main(void) {
  static char line[1024];
  char *word[3];
  char *at = line;
  uint32_t counts[3] = {0, 0, 0};

  if (semihosting_command_line(line, sizeof line) != 0) semihosting_exit(2);
  for (uint32_t i = 0; i < 3; i++) {
    at = strchr(at, ' ');
    if (at == NULL) semihosting_exit(2);
    *at++ = '\0';
    word[i] = at;
  }
  output = semihosting_open(word[1], SEMIHOSTING_WRITE_BINARY);
  if (!read_file(word[0])) semihosting_exit(2);
  memcpy(code, kit_begin, (size_t)(kit_end - kit_begin) * 4u);
  for (uint32_t i = 0; i < question_count; i++) {
    uint32_t base[2];
    put(&questions[i]);
    base[0] = told;
    base[1] = plan.confirmed;
    tell("whole", base, 2);
  }
  for (uint32_t i = number_in(word[2]); i < places.length / 4u; i++) {
    record place;
    tell("at", &i, 1);
    place.at = places.bytes + 4u * i;
    place.end = place.at + 4;
    place.short_of = 0;
    skip(take_u32(&place), counts);
  }
  tell("end", counts, 3);
  semihosting_close(output);
  semihosting_exit(0);
}

void reset_handler(void) {
  const uint32_t *from = link_data_load;

  for (uint32_t *to = link_data_begin; (uintptr_t)to < (uintptr_t)link_data_end; to++) *to = *from++;
  for (uint32_t *to = link_bss_begin; (uintptr_t)to < (uintptr_t)link_bss_end; to++) *to = 0;
  (void)main();
  semihosting_exit(2);
}

typedef struct {
  uint32_t *stack;
  void (*handlers[15])(void);
} vector_table_t;

__attribute__((section(".vectors"), used)) static const vector_table_t vectors = {
  link_stack_top,
  {reset_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler,
     fault_handler, fault_handler, call_handler, fault_handler, fault_handler, fault_handler, tick_handler}};
