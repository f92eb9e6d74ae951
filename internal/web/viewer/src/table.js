// An open table of numbers from 1, with linear probing; 0 is free, and it is never more than half full. What a number
// stands for is compared by whoever asks.
export class Table {
  constructor(most) {
    let size = 16
    while (size < 2 * most) size *= 2
    this.mask = size - 1
    this.value = new Uint32Array(size)
  }

  slot(key) { key = Math.imul(key ^ key >>> 15, 0x9e3779b1); return (key ^ key >>> 13) & this.mask }
  after(slot) { return slot + 1 & this.mask }
}
