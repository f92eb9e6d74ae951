// Two pictures over each other: the slider shows more of the one or the other. Without this they stand side by side.
for (const box of document.querySelectorAll('[data-beside]')) {
  const slider = box.querySelector('input[type=range]')
  const [now] = box.querySelectorAll('.over img')
  slider.closest('.slide').hidden = false
  box.classList.add('live')
  const cut = () => { now.style.clipPath = `inset(0 ${100 - slider.value}% 0 0)` }
  slider.addEventListener('input', cut)
  cut()
}
