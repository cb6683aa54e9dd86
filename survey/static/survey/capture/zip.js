// @ts-check
/** A ZIP file without compression, for taking the outbox away on a stick. Source: ZIP file format specification (APPNOTE) 6.3, sections 4.3.7, 4.3.12, 4.3.16. */

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});
const LARGEST = 0xffffffff;

/** @param {Uint8Array} bytes */
export function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = TABLE[(crc ^ byte) & 0xff] ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

/** @param {[size: 2 | 4, value: number][]} fields */
function record(fields) {
  const view = new DataView(new ArrayBuffer(fields.reduce((sum, [size]) => sum + size, 0)));
  let at = 0;
  for (const [size, value] of fields) {
    if (size === 2) view.setUint16(at, value, true);
    else view.setUint32(at, value, true);
    at += size;
  }
  return view.buffer;
}

/**
 * @param {{name: string, bytes: Blob}[]} files names in ASCII
 * @returns {Promise<Blob>}
 * @throws {RangeError} more than the format holds: 4 GB or 65 535 files
 */
export async function zip(files) {
  /** @type {BlobPart[]} */
  const parts = [];
  /** @type {BlobPart[]} */
  const listed = [];
  let at = 0;
  let length = 0;
  for (const { name, bytes } of files) {
    const crc = crc32(new Uint8Array(await bytes.arrayBuffer()));
    const head = /** @type {[2 | 4, number][]} */ ([[2, 20], [2, 0], [2, 0], [2, 0], [2, 0x21], [4, crc], [4, bytes.size], [4, bytes.size], [2, name.length], [2, 0]]);
    listed.push(record([[4, 0x02014b50], [2, 20], ...head, [2, 0], [2, 0], [2, 0], [4, 0], [4, at]]), name);
    length += 46 + name.length;
    parts.push(record([[4, 0x04034b50], ...head]), name, bytes);
    at += 30 + name.length + bytes.size;
  }
  if (at + length > LARGEST || files.length > 0xffff) throw new RangeError("files: more than one ZIP file holds");
  const end = record([[4, 0x06054b50], [2, 0], [2, 0], [2, files.length], [2, files.length], [4, length], [4, at], [2, 0]]);
  return new Blob([...parts, ...listed, end], { type: "application/zip" });
}
