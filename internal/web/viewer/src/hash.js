// The worker that hashes: SHA-256 of the whole file and of each part, read once in small pieces.
import { sha256 } from '@noble/hashes/sha2.js'
import { bytesToHex } from '@noble/hashes/utils.js'

self.onmessage = async ({ data: { blob, partBytes } }) => {
  try {
    const whole = sha256.create()
    let part = sha256.create()
    let inPart = 0
    const parts = []
    const reader = blob.stream().getReader()
    for (;;) {
      const { done, value } = await reader.read()
      if (done) break
      whole.update(value)
      for (let at = 0; at < value.length;) {
        const n = Math.min(partBytes - inPart, value.length - at)
        part.update(value.subarray(at, at + n))
        inPart += n
        at += n
        if (inPart === partBytes) {
          parts.push(bytesToHex(part.digest()))
          part = sha256.create()
          inPart = 0
        }
      }
      self.postMessage({ read: value.length })
    }
    if (inPart > 0) parts.push(bytesToHex(part.digest()))
    self.postMessage({ sha256: bytesToHex(whole.digest()), parts })
  } catch (err) {
    self.postMessage({ error: err.message })
  }
}
