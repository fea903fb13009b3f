#!/bin/sh
# Builds the listed files of the fetched libraries into one archive: exactly what the crypto port calls, and no more.
#   build-library.sh ARCHIVE      with CC, AR, FLAGS, BEARSSL, SODIUM, MBEDTLS in the environment
set -eu
archive=$1
objects=$(dirname "$archive")/library
here=$(cd "$(dirname "$0")/.." && pwd)
rm -rf "$objects" "$archive"
mkdir -p "$objects"

# compile LIBRARY FOLDER FLAGS FILES...
compile() {
  library=$1 folder=$2 flags=$3
  shift 3
  for file in "$@"; do
    # shellcheck disable=SC2086 # the flags are words
    $CC $FLAGS $flags -w -c "$folder/$file.c" -o "$objects/$library-$(basename "$file").o"
  done
}

i31=$(cd "$BEARSSL/src" && ls int/i31_*.c | sed 's/\.c$//')
# shellcheck disable=SC2086 # one file a word
compile bearssl "$BEARSSL/src" "-I$BEARSSL/inc -I$BEARSSL/src" \
  ec/ec_p256_m31 ec/ec_secp256r1 ec/ec_secp384r1 ec/ec_secp521r1 ec/ecdsa_i31_vrfy_raw ec/ecdsa_i31_bits \
  hash/sha2small hash/mgf1 mac/hmac symcipher/aes_ct symcipher/aes_ct_enc symcipher/aes_ct_ctr \
  codec/dec32be codec/enc32be codec/ccopy int/i32_div32 $i31
compile sodium "$SODIUM" \
  "-DCONFIGURED=1 -I$SODIUM/include -I$SODIUM/include/sodium -I$SODIUM/include/sodium/private" \
  crypto_sign/ed25519/ref10/open crypto_sign/ed25519/ref10/sign crypto_core/ed25519/ref10/ed25519_ref10 \
  crypto_hash/sha512/cp/hash_sha512_cp crypto_verify/sodium/verify sodium/utils
compile mbedtls "$MBEDTLS/library" "-I$MBEDTLS/include -I$here/ports/crypto -DMBEDTLS_CONFIG_FILE=\"mbedtls-config.h\"" \
  aes cipher cipher_wrap nist_kw platform platform_util constant_time
$AR rcs "$archive" "$objects"/*.o
