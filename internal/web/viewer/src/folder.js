// filesOf reads what was dropped: one folder with all below it, or loose files.
export async function filesOf(transfer) {
  const entries = [...transfer.items].map((i) => i.webkitGetAsEntry?.()).filter(Boolean)
  const out = []
  for (const entry of entries) {
    if (entry.isDirectory) await walk(entry, '', out)
    else out.push({ path: entry.name, blob: await blobOf(entry) })
  }
  return out
}

async function walk(folder, path, out) {
  const reader = folder.createReader()
  for (;;) { // a reader gives at most a hundred a time
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject))
    if (some.length === 0) return
    for (const e of some) {
      if (e.isDirectory) await walk(e, path + e.name + '/', out)
      else out.push({ path: path + e.name, blob: await blobOf(e) })
    }
  }
}

function blobOf(entry) {
  return new Promise((resolve, reject) => entry.file(resolve, reject))
}
