/**
 * Images: firmware files as a linker or converter writes them (raw binary, Intel HEX, Motorola S-record, ELF),
 * read strictly, and laid out as the one flat image that goes into a slot of a device class. Large raw and ELF
 * files are never held in memory. Knows nothing of cryptography, files or manifests.
 */
export { IMAGE_ERROR_CODES, ImageError, type ImageErrorCode, type ImageWhere } from './errors.ts';
export { type FlatImage, imageForSlot, layOut } from './lay-out.ts';
export { IMAGE_LIMITS } from './limits.ts';
export { checkMemoryMap, type MapProblem } from './map-check.ts';
export {
  type Core,
  codeAreas,
  defaultMemoryMap,
  type FlashGeometry,
  linkRegion,
  type MemoryMap,
  type NamedRegion,
  RECOVERY_AREA,
  type Region,
  type SlotShape,
} from './memory.ts';
export { type ReadImage, readImage } from './read-image.ts';
export { formatOfName, type ImageFormat } from './recognise.ts';
export { formatAddress, formatSize, parseSize } from './size.ts';
