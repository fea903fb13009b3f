/*
 * What frama-c's Eva analyses: whatever reads what a stranger sent, over any bytes of any length up to LARGEST, and from any place
 * in them or beyond. The crypto port answers anything, and is not looked at. `make prove PART=...` names the part.
 */
#include "../src/internal.h"
#include "__fc_builtin.h"

#define LARGEST 1024u
/* With one byte too many the analysis must find what it looks for. */
#ifdef PROVE_FAULT
#define LARGEST_SAID (LARGEST + 1)
#define PROVE_READER
#else
#define LARGEST_SAID LARGEST
#endif

static uint8_t bytes[LARGEST];

static fs_status any_status(void) { return Frama_C_interval(0, 1) ? FS_OK : FS_PORT_FAILED; }

static fs_status sha256_start(void *context, fs_sha256 *state) {
  (void)context;
  memset(state, 0, sizeof *state);
  return any_status();
}

static fs_status sha256_update(void *context, fs_sha256 *state, const uint8_t *data, uint32_t length) {
  (void)context, (void)state, (void)data, (void)length;
  return any_status();
}

static fs_status sha256_finish(void *context, fs_sha256 *state, uint8_t digest[32]) {
  (void)context, (void)state;
  Frama_C_make_unknown((char *)digest, 32);
  return any_status();
}

static const fs_crypto CRYPTO = {.sha256_start = sha256_start, .sha256_update = sha256_update, .sha256_finish = sha256_finish};
static fs_class unit;

static void begin(fs_judge *judge, fs_machine *run) {
  memset(judge, 0, sizeof *judge);
  memset(run, 0, sizeof *run);
  Frama_C_make_unknown((char *)bytes, LARGEST);
  unit.content_key_count = Frama_C_interval(0, 1);
  judge->b = bytes;
  judge->size = Frama_C_unsigned_int_interval(0, LARGEST_SAID);
  judge->unit = &unit;
  judge->crypto = &CRYPTO;
  judge->run = run;
  judge->malformed = FS_ENVELOPE_MALFORMED;
  judge->limit = FS_ENVELOPE_TOO_LARGE;
}

static fs_cur any_span(void) {
  fs_cur span;
  span.off = Frama_C_unsigned_int_interval(0, UINT32_MAX);
  span.end = Frama_C_unsigned_int_interval(0, UINT32_MAX);
  return span;
}

int main(void) {
  fs_judge judge;
  fs_machine run;
  begin(&judge, &run);
#ifdef PROVE_READER
  fs_cur at = any_span();
  fs_valid(&judge, any_span(), FS_ITEMS, (uint32_t)Frama_C_interval(0, 1));
  fs_skip(&judge, &at);
  (void)fs_string(&judge, &at);
  (void)fs_digest(&judge, at, FS_DIGEST_ALGORITHM_UNKNOWN);
#endif
#ifdef PROVE_ENVELOPE
  fs_step_envelope(&judge);
#endif
#ifdef PROVE_CERTIFICATE
  fs_certificate certificate;
  fs_read_certificate(&judge, any_span(), &certificate);
#endif
#ifdef PROVE_MANIFEST
  judge.manifest = any_span();
  judge.entries = Frama_C_unsigned_int_interval(0, UINT32_MAX);
  judge.entry_count = (uint8_t)Frama_C_interval(0, UINT8_MAX);
  fs_step_manifest(&judge);
#endif
  return 0;
}
