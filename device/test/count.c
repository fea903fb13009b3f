/*
 * Counts the instructions that an emulated core carries out, by ranges of addresses (QEMU TCG plugin, interface version 1; Debian
 * ships no header, so what is called is declared here). Arguments: range=FIRST-END, hexadecimal; each gives one line on exit.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef uint64_t qemu_plugin_id_t;
struct qemu_plugin_tb;
struct qemu_plugin_insn;
enum { QEMU_PLUGIN_INLINE_ADD_U64 = 0 };

void qemu_plugin_register_vcpu_tb_trans_cb(qemu_plugin_id_t id, void (*cb)(qemu_plugin_id_t, struct qemu_plugin_tb *));
size_t qemu_plugin_tb_n_insns(const struct qemu_plugin_tb *tb);
struct qemu_plugin_insn *qemu_plugin_tb_get_insn(const struct qemu_plugin_tb *tb, size_t index);
uint64_t qemu_plugin_insn_vaddr(const struct qemu_plugin_insn *insn);
void qemu_plugin_register_vcpu_insn_exec_inline(struct qemu_plugin_insn *insn, int op, void *counter, uint64_t by);
void qemu_plugin_register_atexit_cb(qemu_plugin_id_t id, void (*cb)(qemu_plugin_id_t, void *), void *data);

int qemu_plugin_version = 1;

#define RANGES 512
static struct {
  uint64_t first, end, count;
} ranges[RANGES];
static int range_count;

static void translated(qemu_plugin_id_t id, struct qemu_plugin_tb *tb) {
  (void)id;
  for (size_t i = 0; i < qemu_plugin_tb_n_insns(tb); i++) {
    struct qemu_plugin_insn *insn = qemu_plugin_tb_get_insn(tb, i);
    const uint64_t at = qemu_plugin_insn_vaddr(insn);
    for (int r = 0; r < range_count; r++) {
      if (at >= ranges[r].first && at < ranges[r].end)
        qemu_plugin_register_vcpu_insn_exec_inline(insn, QEMU_PLUGIN_INLINE_ADD_U64, &ranges[r].count, 1);
    }
  }
}

static void ended(qemu_plugin_id_t id, void *data) {
  (void)id;
  (void)data;
  for (int r = 0; r < range_count; r++) fprintf(stderr, "%llu\n", (unsigned long long)ranges[r].count);
}

int qemu_plugin_install(qemu_plugin_id_t id, const void *info, int argc, char **argv);
int qemu_plugin_install(qemu_plugin_id_t id, const void *info, int argc, char **argv) {
  (void)info;
  for (int i = 0; i < argc && range_count < RANGES; i++) {
    char *range = strchr(argv[i], '=');
    if (range == NULL) return 1;
    ranges[range_count].first = strtoull(range + 1, &range, 16);
    ranges[range_count].end = strtoull(range + 1, NULL, 16);
    range_count++;
  }
  qemu_plugin_register_vcpu_tb_trans_cb(id, translated);
  qemu_plugin_register_atexit_cb(id, ended, NULL);
  return 0;
}
