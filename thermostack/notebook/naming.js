// Names for the controls of a panel that screen readers can tell, and buttons that copy a text.

const give = (node, key, text) => { if (node && text && node.getAttribute(key) !== text) node.setAttribute(key, text); };

function name(panel) {
  for (const box of panel.querySelectorAll('.widget-inline-hbox')) {
    const label = box.querySelector(':scope > .widget-label');
    const text = box.title || (label && (label.title || label.textContent)) || '';
    const handles = box.querySelectorAll('[role=slider]');
    handles.forEach((handle, i) => give(handle, 'aria-label', handles.length > 1 ? `${text}, ${i ? 'end' : 'start'}` : text));
    const readout = box.querySelector('.widget-readout');
    if (readout && handles.length) { give(readout, 'role', 'textbox'); give(readout, 'aria-label', `${text}, typed`); }
    for (const field of box.querySelectorAll('select, input[type=text]')) give(field, 'aria-label', text);
  }
  for (const button of panel.querySelectorAll('button.tst-copy:not([data-ready])')) {
    button.dataset.ready = '1';
    button.addEventListener('click', async () => {
      const area = button.parentElement.querySelector('textarea');
      try { await navigator.clipboard.writeText(area.value); } catch { area.select(); document.execCommand('copy'); }
      const was = button.textContent;
      button.textContent = 'copied';
      setTimeout(() => { button.textContent = was; }, 1200);
    });
  }
}

export default {
  render({ el }) {
    el.style.display = 'none';
    let observer = null, asked = 0, tries = 0;
    const start = () => {
      asked = 0;
      const panel = el.closest('.tst');
      if (!panel) { if (tries++ < 200) asked = requestAnimationFrame(start); return; }
      const again = () => { asked = 0; name(panel); };
      observer = new MutationObserver(() => { if (!asked) asked = requestAnimationFrame(again); });
      observer.observe(panel, { childList: true, subtree: true, attributes: true, attributeFilter: ['title'] });
      name(panel);
    };
    start();
    return () => { observer && observer.disconnect(); asked && cancelAnimationFrame(asked); };
  },
};
