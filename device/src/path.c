/* Step 2, asymmetric: the certificate bound to a signature, its path to a root of the unit, and its rights. */
#include "internal.h"

#define MOST_CERTIFICATES 8u
#define X5CHAIN 33
#define X5T 34

/* Certificates that came with a signature: one byte string, or an array of them. `at` stands before the first. */
typedef struct {
  fs_cur at;
  uint32_t count;
} chain;

static fs_pair chain_item_r(fs_judge *judge, const chain *from, uint32_t index) {
  fs_cur at = from->at;
  while (index-- > 0) fs_skip(judge, &at);
  return fs_string_r(judge, &at);
}
#define chain_item(judge, from, index) fs_cur_of(chain_item_r(judge, from, index))

static void certificate_at(fs_judge *judge, const chain *from, uint32_t index, fs_certificate *into) {
  fs_read_certificate(judge, chain_item(judge, from, index), into);
}

static void read_chain(fs_judge *judge, fs_cur header, chain *into) {
  into->at = header;
  into->count = 1;
  if (fs_head(judge, &header) != 4) return;
  into->at = header;
  into->count = judge->argument;
}

/* x5chain is protected, or a protected x5t has the SHA-256 of the first certificate (RFC 9360 section 2). */
static FS_APART void judge_binding(fs_judge *judge, const fs_block *block, const chain *from) {
  fs_cur thumbprint = fs_header(judge, block, X5T, FS_IN_PROTECTED);
  fs_cur first = chain_item(judge, from, 0);
  uint8_t digest[32];
  fs_bytes part;
  if (FS_ABSENT(thumbprint)) {
    fs_refuse_unless(judge, !FS_ABSENT(fs_header(judge, block, X5CHAIN, FS_IN_PROTECTED)), FS_SIGNER_NOT_BOUND);
    return;
  }
  (void)fs_take(judge, &thumbprint, 4);
  part = fs_bytes_of(judge, first);
  fs_refuse_unless(judge,
                   fs_byte(judge, thumbprint.off) == 0x2f && fs_hash(judge->crypto, &part, 1, digest) == FS_OK,
                   FS_SIGNER_THUMBPRINT_WRONG);
  fs_skip(judge, &thumbprint);
  first = fs_string(judge, &thumbprint);
  fs_refuse_unless(judge, fs_span_is(judge, first, digest, 32), FS_SIGNER_THUMBPRINT_WRONG);
}

static FS_APART void read_bound_chain(fs_judge *judge, const fs_block *block, chain *into, fs_certificate *scratch) {
  uint32_t i;
  fs_cur header = fs_header(judge, block, X5CHAIN, FS_IN_ANY);
  judge->malformed = FS_SIGNER_CHAIN_MALFORMED;
  fs_refuse_unless(judge, !FS_ABSENT(header), FS_SIGNER_MISSING);
  if (!FS_GOOD(judge)) return;
  read_chain(judge, header, into);
  judge_binding(judge, block, into);
  fs_refuse_unless(judge, into->count <= MOST_CERTIFICATES, FS_SIGNER_CHAIN_MALFORMED);
  for (i = 0; i < into->count && FS_GOOD(judge); i++) certificate_at(judge, into, i, scratch);
}

/* r then s, 32 bytes each, of an ECDSA-Sig-Value (RFC 3279 section 2.2.3); 0 where it is none. */
static uint32_t raw_ecdsa(fs_judge *judge, fs_cur signature, uint8_t raw[64]) {
  fs_cur inner;
  uint32_t i;
  uint32_t good;
  if (!FS_GOOD(judge)) return 0;
  inner = fs_der(judge, &signature, 0x30);
  fs_der_end(judge, signature);
  memset(raw, 0, 64);
  for (i = 0; i < 64; i += 32) {
    fs_cur digits = fs_der_integer(judge, &inner, 0x02);
    if (!FS_GOOD(judge) || fs_byte(judge, digits.off) >= 0x80) break;
    if (fs_byte(judge, digits.off) == 0) digits.off++;
    if (digits.end - digits.off > 32) break;
    memcpy(raw + i + 32 - (digits.end - digits.off), judge->b + digits.off, digits.end - digits.off);
  }
  fs_der_end(judge, inner);
  good = i == 64 && FS_GOOD(judge);
  judge->status = 0;
  return good;
}

/* Whether the key signed the certificate. */
static fs_status signed_by(fs_judge *judge, const fs_certificate *certificate, fs_bytes spki) {
  uint8_t raw[64];
  fs_bytes signature = fs_bytes_of(judge, certificate->signature);
  fs_bytes part;
  fs_status status;
  uint32_t again;
  if (certificate->algorithm == FS_KEY_OTHER) return FS_SIGNER_CERTIFICATE_UNSUPPORTED;
  if (fs_key_type(spki.bytes, spki.length) != certificate->algorithm) return FS_SIGNER_PATH_BROKEN;
  if (certificate->algorithm == FS_KEY_P256) {
    if (!raw_ecdsa(judge, certificate->signature, raw)) return FS_SIGNER_PATH_BROKEN;
    signature.bytes = raw;
    signature.length = sizeof raw;
  }
  part = fs_bytes_of(judge, certificate->tbs);
  status = fs_verify(judge, certificate->algorithm, spki, &part, 1, signature, &again);
  judge->evidence.links += again;
  return status == FS_OK ? FS_OK : FS_SIGNER_PATH_BROKEN;
}

/* Whether a root counts: at install a spare one stands above nothing. */
static uint32_t counts(const fs_judge *judge, const fs_anchor *anchor) { return !anchor->spare || judge->stored; }

/* A wrong signature below the name of a root is a stranger's. */
static fs_status as_refused(const fs_judge *judge, const fs_certificate *certificate, fs_status found) {
  uint32_t i;
  if (found != FS_SIGNER_PATH_BROKEN) return found;
  for (i = 0; i < judge->unit->anchor_count; i++)
    if (counts(judge, &judge->unit->anchors[i]) &&
        fs_span_is(judge, certificate->issuer, judge->unit->anchors[i].name.bytes, judge->unit->anchors[i].name.length))
      return FS_SIGNER_NOT_ANCHORED;
  return found;
}

/* FS_OK where a root of that name signed the certificate; 0 where none has its name. */
static fs_status judge_top(fs_judge *judge, const fs_certificate *certificate) {
  fs_status found = 0;
  uint32_t i;
  for (i = 0; i < judge->unit->anchor_count; i++) {
    const fs_anchor *anchor = &judge->unit->anchors[i];
    fs_status one;
    if (!counts(judge, anchor) || !fs_same_name(anchor->name, fs_bytes_of(judge, certificate->issuer))) continue;
    one = signed_by(judge, certificate, anchor->spki);
    if (one == FS_OK) return FS_OK;
    if (found == 0) found = as_refused(judge, certificate, one);
  }
  return found;
}

/* Index of the first certificate from the signer up that a root signed (names only select; the signature decides). */
static FS_APART uint32_t find_top(fs_judge *judge, const chain *from, fs_certificate *scratch) {
  fs_status failed = 0;
  fs_cur issuer = {0, 0};
  uint32_t i;
  for (i = 0;; i++) {
    fs_status found;
    certificate_at(judge, from, i, scratch);
    if (i > 0 && !fs_same_name(fs_bytes_of(judge, issuer), fs_bytes_of(judge, scratch->subject))) {
      fs_fail(judge, failed != 0 ? failed : FS_SIGNER_PATH_BROKEN);
      return 0;
    }
    found = judge_top(judge, scratch);
    if (found == FS_OK) return i;
    if (failed == 0) failed = found;
    if (i + 1 == from->count || !FS_GOOD(judge)) break;
    issuer = scratch->issuer;
  }
  fs_fail(judge, failed != 0 ? failed : FS_SIGNER_NOT_ANCHORED);
  return 0;
}

static void judge_dates(fs_judge *judge, const fs_certificate *certificate) {
  if (judge->stored || !judge->has_now) return;
  fs_refuse_unless(judge, !certificate->too_early, FS_SIGNER_NOT_YET_VALID);
  fs_refuse_unless(judge, !certificate->too_late, FS_SIGNER_EXPIRED);
}

/* RFC 5280 section 6.1.4 (k) to (n). `left`: authorities that may still follow. */
static void judge_authority(fs_judge *judge, const fs_certificate *certificate, uint32_t *left) {
  fs_refuse_unless(judge, certificate->is_authority, FS_SIGNER_PATH_BROKEN);
  if (!fs_same_name(fs_bytes_of(judge, certificate->issuer), fs_bytes_of(judge, certificate->subject))) {
    fs_refuse_unless(judge, *left > 0, FS_SIGNER_PATH_BROKEN);
    *left -= 1;
  }
  if (certificate->path_length < *left) *left = certificate->path_length;
  fs_refuse_unless(judge, certificate->key_usage == 0 || (certificate->key_usage & FS_USAGE_CERTIFICATES) != 0,
                   FS_SIGNER_PATH_BROKEN);
}

static void judge_purpose(fs_judge *judge, const fs_certificate *certificate, uint32_t index) {
  uint32_t limitless = !certificate->has_purposes || (certificate->purposes & FS_PURPOSE_ANY) != 0;
  if ((certificate->purposes & FS_PURPOSE_RELEASE) != 0 || (index > 0 && limitless)) return;
  fs_fail(judge, FS_SIGNER_PURPOSE_WRONG);
}

/* RFC 5280 section 6.1, from the certificate that a root signed down to the signer's. */
static FS_APART void judge_path(fs_judge *judge, const chain *from, uint32_t top, fs_certificate *into) {
  uint32_t left = top + 1;
  fs_cur authority = {0, 0};
  uint32_t index = top + 1;
  while (index-- > 0 && FS_GOOD(judge)) {
    certificate_at(judge, from, index, into);
    if (index < top) {
      fs_status found = signed_by(judge, into, fs_bytes_of(judge, authority));
      if (found != FS_OK) fs_fail(judge, as_refused(judge, into, found));
    }
    judge_dates(judge, into);
    if (index > 0) judge_authority(judge, into, &left);
    fs_refuse_unless(judge, !into->unsupported, FS_SIGNER_CERTIFICATE_UNSUPPORTED);
    judge_purpose(judge, into, index);
    authority = into->spki;
    judge->evidence.trial |= into->trial;
  }
}

void fs_judge_signer(fs_judge *judge, const fs_block *block, fs_certificate *signer) {
  chain from = {{0, 0}, 0};
  uint32_t top = 0;
  uint32_t kind;
  uint32_t i;
  read_bound_chain(judge, block, &from, signer);
  if (!FS_GOOD(judge)) return;
  memset(&judge->evidence.links, 0, sizeof judge->evidence - offsetof(fs_evidence, links));
  certificate_at(judge, &from, 0, signer);
  /* A signer of trust updates: the kit takes none (docs/device-kit.md). */
  if (!judge->stored && (signer->purposes & FS_OUR_PURPOSES) == FS_PURPOSE_TRUST)
    fs_fail(judge, FS_SIGNER_PURPOSE_WRONG);
  if (FS_GOOD(judge)) top = find_top(judge, &from, signer);
  if (FS_GOOD(judge)) judge_path(judge, &from, top, signer);
  judge->evidence.path_length = (uint8_t)(top + 1);
  for (kind = 0; kind < 3; kind++)
    for (i = 0; i <= top && FS_GOOD(judge); i++) {
      certificate_at(judge, &from, i, signer);
      fs_judge_key(judge, signer, kind);
    }
  if (!FS_GOOD(judge)) return;
  certificate_at(judge, &from, 0, signer);
  fs_judge_rights(judge, signer, judge->least_generation);
}
