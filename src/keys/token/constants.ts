/**
 * Numbers of PKCS#11 used here (OASIS PKCS#11 v3.2, header pkcs11t.h). The addon names most, not the EdDSA
 * ones.
 */
export const CK = {
  userOfficer: 0,
  userNormal: 1,
  userContextSpecific: 2,

  sessionReadWrite: 0x2,
  sessionSerial: 0x4,
  osLocking: 0x2,

  classPublicKey: 2,
  classPrivateKey: 3,
  classSecretKey: 4,

  keyTypeEc: 0x03,
  keyTypeGenericSecret: 0x10,
  keyTypeAes: 0x1f,
  keyTypeEdwards: 0x40,
  keyTypeHss: 0x46,

  aesKeyGen: 0x1080,
  aesKeyWrap: 0x2109,
  ecKeyPairGen: 0x1040,
  ecdsa: 0x1041,
  edwardsKeyPairGen: 0x1055,
  eddsa: 0x1057,
  hssKeyPairGen: 0x4032,
  hss: 0x4033,
  genericSecretKeyGen: 0x350,
  sha256Hmac: 0x251,
} as const;

/** Flags of a token (CK_TOKEN_INFO). */
export const TOKEN_FLAG = {
  loginRequired: 0x4,
  userPinInitialized: 0x8,
  protectedPath: 0x100,
  initialized: 0x400,
  userPinCountLow: 0x10000,
  userPinFinalTry: 0x20000,
  userPinLocked: 0x40000,
  officerPinCountLow: 0x100000,
  officerPinFinalTry: 0x200000,
  officerPinLocked: 0x400000,
} as const;

/** Attributes by their names in the standard. */
export const CKA = {
  CKA_CLASS: 0x0,
  CKA_TOKEN: 0x1,
  CKA_PRIVATE: 0x2,
  CKA_LABEL: 0x3,
  CKA_VALUE: 0x11,
  CKA_TRUSTED: 0x86,
  CKA_KEY_TYPE: 0x100,
  CKA_ID: 0x102,
  CKA_SENSITIVE: 0x103,
  CKA_ENCRYPT: 0x104,
  CKA_DECRYPT: 0x105,
  CKA_WRAP: 0x106,
  CKA_UNWRAP: 0x107,
  CKA_SIGN: 0x108,
  CKA_VERIFY: 0x10a,
  CKA_DERIVE: 0x10c,
  CKA_VALUE_LEN: 0x161,
  CKA_EXTRACTABLE: 0x162,
  CKA_LOCAL: 0x163,
  CKA_NEVER_EXTRACTABLE: 0x164,
  CKA_ALWAYS_SENSITIVE: 0x165,
  CKA_COPYABLE: 0x171,
  CKA_EC_PARAMS: 0x180,
  CKA_EC_POINT: 0x181,
  CKA_ALWAYS_AUTHENTICATE: 0x202,
  CKA_WRAP_WITH_TRUSTED: 0x210,
  CKA_HSS_LEVELS: 0x617,
  CKA_HSS_LMS_TYPES: 0x61a,
  CKA_HSS_LMOTS_TYPES: 0x61b,
  CKA_HSS_KEYS_REMAINING: 0x61c,
  CKA_ALLOWED_MECHANISMS: 0x40000600,
} as const;

export type AttributeName = keyof typeof CKA;
