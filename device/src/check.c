/* The decision about an offer, steps 1 to 9: a status, and a confirmation made apart from it. */
#include "life.h"

void fs_begin(fs_judge *judge, const fs_class *unit, const fs_crypto *crypto, fs_bytes envelope) {
  memset(judge, 0, sizeof *judge);
  judge->b = envelope.bytes;
  judge->size = envelope.length;
  judge->unit = unit;
  judge->crypto = crypto;
  judge->least_generation = unit->floors.signer_generation;
}

fs_status fs_decide(fs_judge *judge, fs_payload *payload, uint32_t *confirmed) {
  fs_step_envelope(judge);
  if (FS_GOOD(judge)) fs_step_seal(judge);
  if (FS_GOOD(judge)) fs_step_manifest(judge);
  if (FS_GOOD(judge)) fs_follow(judge, payload);
  *confirmed = fs_look_again(judge) ^ FS_CONFIRMED;
  return FS_GOOD(judge) ? FS_OK : judge->status;
}

static void fill_plan(const fs_judge *judge, fs_plan *plan) {
  plan->effect = (fs_effect)judge->effect;
  plan->slot = judge->slot;
  plan->sequence_number = judge->sequence_number;
  plan->security_version = judge->security_version;
  if (judge->manifest_digest != 0) memcpy(plan->manifest_digest, judge->b + judge->manifest_digest, 32);
  if (judge->image_digest != 0) memcpy(plan->image_digest, judge->b + judge->image_digest, 32);
  plan->image_size = judge->image_size;
}

FS_APART fs_status fs_decide_offer(const fs_view *view, const fs_offer *offer, fs_plan *plan, fs_payload *payload) {
  fs_judge judge;
  fs_status status;
  memset(plan, 0, sizeof *plan);
  memset(payload, 0, sizeof *payload);
  payload->offer = offer;
  payload->crypto = view->crypto;
  fs_begin(&judge, view->unit, view->crypto, offer->envelope);
  judge.marks = view->marks;
  judge.running = view->running;
  judge.room = view->room;
  judge.has_image = offer->read != 0;
  judge.has_now = offer->has_now && view->unit->has_clock;
  judge.now = offer->now;
  if (view->marks != 0) judge.least_generation = fs_get32(view->marks + FS_MARK_GENERATION_FLOOR, 4);
  status = fs_decide(&judge, payload, &plan->confirmed);
  fill_plan(&judge, plan);
  if (status != FS_OK) return status;
  payload->kept = fs_kept_size(&judge);
  if (view->keep_into != 0) fs_write_kept(&judge, view->keep_into);
  return FS_OK;
}

fs_status fs_feed(const fs_payload *payload, uint32_t offset, uint8_t *into, uint32_t length) {
  const fs_offer *offer = payload->offer;
  fs_status status = FS_OK;
  if (payload->from == FS_FROM_URI)
    status = offer->read(offer->context, offset, into, length);
  else
    memcpy(into, payload->bytes.bytes + offset, length);
  if (status != FS_OK || payload->running == 0) return status;
  return payload->crypto->ctr_at(payload->crypto->context, payload->running, offset, into, length);
}

uint32_t fs_payload_size(const fs_payload *payload) {
  return payload->from == FS_FROM_URI ? payload->offer->image_size : payload->bytes.length;
}

/* SHA-256 over all that is fed. */
static fs_status digest_of(const fs_payload *payload, uint32_t size, uint8_t digest[32]) {
  const fs_crypto *crypto = payload->crypto;
  fs_sha256 state;
  uint8_t piece[FS_PIECE];
  uint32_t at;
  fs_status status = crypto->sha256_start(crypto->context, &state);
  memset(digest, 0, 32);
  for (at = 0; at < size && status == FS_OK; at += FS_PIECE) {
    uint32_t length = size - at < FS_PIECE ? size - at : FS_PIECE;
    status = fs_feed(payload, at, piece, length);
    if (status == FS_OK) status = crypto->sha256_update(crypto->context, &state, piece, length);
  }
  return status == FS_OK ? crypto->sha256_finish(crypto->context, &state, digest) : status;
}

/* Step 9 for an image at hand: its digest, compared twice; the second time for `confirmed`. */
static fs_status judge_image(const fs_payload *payload, fs_plan *plan) {
  uint8_t digest[32];
  if (digest_of(payload, plan->image_size, digest) != FS_OK) return FS_IMAGE_DIGEST_WRONG;
  if (fs_differs(digest, plan->image_digest, 32) != 0) plan->confirmed = 0;
  return fs_same(digest, plan->image_digest, 32) == FS_OK ? FS_OK : FS_IMAGE_DIGEST_WRONG;
}

fs_status fs_judge_ciphertext(const fs_payload *payload, const fs_plan *plan) {
  uint8_t digest[32];
  if (fs_payload_size(payload) != plan->image_size) return FS_CIPHERTEXT_LENGTH_WRONG;
  if (payload->cipher.digest == 0) return FS_OK;
  if (digest_of(payload, plan->image_size, digest) != FS_OK) return FS_CIPHERTEXT_DIGEST_WRONG;
  return fs_same(digest, payload->cipher.digest, 32) == FS_OK ? FS_OK : FS_CIPHERTEXT_DIGEST_WRONG;
}

uint32_t fs_opens(const fs_crypto *crypto, const fs_cipher *cipher) {
  fs_ctr state;
  fs_status status = crypto->unwrap_for_ctr(crypto->context, cipher->slot, cipher->wrapped, cipher->iv, &state);
  crypto->ctr_forget(crypto->context, &state);
  return status == FS_OK;
}

fs_status fs_begin_decryption(fs_payload *payload, fs_ctr *state) {
  const fs_crypto *crypto = payload->crypto;
  const fs_cipher *cipher = &payload->cipher;
  if (crypto->unwrap_for_ctr(crypto->context, cipher->slot, cipher->wrapped, cipher->iv, state) != FS_OK)
    return FS_CONTENT_KEY_WRONG;
  payload->running = state;
  return FS_OK;
}

void fs_end_decryption(fs_payload *payload) {
  if (payload->running != 0) payload->crypto->ctr_forget(payload->crypto->context, payload->running);
  payload->running = 0;
}

/* What is decrypted is compared with the image, and goes nowhere. */
static FS_APART fs_status judge_decrypted(fs_payload *payload, fs_plan *plan) {
  fs_ctr state;
  fs_status status = fs_judge_ciphertext(payload, plan);
  if (status == FS_OK) status = fs_begin_decryption(payload, &state);
  if (status == FS_OK) status = judge_image(payload, plan);
  fs_end_decryption(payload);
  return status;
}

fs_status fs_judge_offered(fs_payload *payload, fs_plan *plan) {
  if (payload->from == FS_FROM_NOTHING) return plan->effect == FS_ALREADY_THERE ? FS_OK : FS_INCOMPLETE;
  if (payload->cipher.iv != 0) return judge_decrypted(payload, plan);
  return fs_payload_size(payload) == plan->image_size ? judge_image(payload, plan) : FS_IMAGE_LENGTH_WRONG;
}

fs_status fs_check_marks(const fs_class *unit_class, const fs_crypto *crypto, const uint8_t *marks, int8_t running,
                         const fs_offer *offer, fs_plan *plan) {
  fs_view view = {unit_class, crypto, marks, 0, UINT32_MAX, running};
  fs_payload payload;
  fs_status status = fs_decide_offer(&view, offer, plan, &payload);
  if (status == FS_OK) status = fs_judge_offered(&payload, plan);
  if (status != FS_OK) plan->confirmed = 0;
  return status;
}
