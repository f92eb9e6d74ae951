// The list of keys opens over the page and closes by Escape, by its button, or by a click beside it.
export function keyList() {
  const list = document.getElementById('keylist')
  for (const b of document.querySelectorAll('[data-do=keylist]')) {
    b.hidden = false
    b.addEventListener('click', () => list.showModal())
  }
  list?.querySelector('[data-do=closekeys]').addEventListener('click', () => list.close())
  list?.addEventListener('click', (e) => { if (e.target === list) list.close() })
}
