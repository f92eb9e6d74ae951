// A view as an address: camera, skin, lines and revision stand in the fragment, so that a link opens on the same sight.

export function readLink() {
  const q = new URLSearchParams(location.hash.slice(1))
  const camera = (q.get('camera') || '').split(',').map(Number)
  return {
    camera: camera.length === 6 && camera.every(Number.isFinite) ? camera : null,
    skin: q.get('skin'), lines: (q.get('lines') || '').split('.').filter(Boolean), revision: Number(q.get('revision')) || null,
  }
}

export function linkOf(stage, panel) {
  const q = new URLSearchParams()
  const short = (v) => String(Math.round(v * 1e5) / 1e5)
  q.set('camera', [...stage.camera.position.toArray(), ...stage.controls.target.toArray()].map(short).join(','))
  q.set('skin', panel.skin)
  if (panel.lines.length) q.set('lines', panel.lines.join('.'))
  q.set('revision', panel.revision.number)
  return '#' + q.toString().replaceAll('%2C', ',')
}

export function writeLink(stage, panel) {
  history.replaceState(null, '', linkOf(stage, panel))
}
