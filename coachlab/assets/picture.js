// Shows a drawn picture at its natural size, with its text alternative, and says aloud what changed.
// Tells the kernel how wide the picture may be, so that it is drawn for this screen and never squeezed.
export default {
  render({ model, el }) {
    const figure = document.createElement("figure");
    figure.className = "coachlab-picture";
    const img = document.createElement("img");
    const caption = document.createElement("figcaption");
    caption.setAttribute("aria-live", "polite");
    figure.append(img, caption);
    el.append(figure);

    let url = "";
    const show = () => {
      const data = model.get("png");
      if (!data || data.byteLength === 0) { img.hidden = true; return; }
      const old = url;
      url = URL.createObjectURL(new Blob([data], { type: "image/png" }));
      img.onload = () => {
        img.style.width = `${img.naturalWidth / model.get("drawn_ratio")}px`;
        if (old) URL.revokeObjectURL(old);
      };
      img.src = url;
      img.hidden = false;
    };
    const say = () => {
      img.alt = model.get("alt");
      if (caption.textContent !== model.get("caption")) caption.textContent = model.get("caption");
    };
    model.on("change:png", show);
    model.on("change:alt change:caption", say);
    show();
    say();

    let timer = 0;
    const measure = () => {
      const room = Math.round(figure.clientWidth);
      const ratio = window.devicePixelRatio || 1;
      if (room < 1) return;
      if (Math.abs(room - model.get("room_px")) < 20 && ratio === model.get("ratio")) return;
      model.set("room_px", room);
      model.set("ratio", ratio);
      model.save_changes();
    };
    // JupyterLab takes arrow keys for itself while a cell is selected, also from a focused control
    const keepKeys = () => {
      const controls = figure.closest(".coachlab-panel")?.querySelectorAll("select") ?? [];
      controls.forEach((control) => control.setAttribute("data-lm-suppress-shortcuts", "true"));
    };
    const watcher = new ResizeObserver(() => {
      keepKeys();
      clearTimeout(timer);
      timer = setTimeout(measure, 150);
    });
    watcher.observe(figure);
    return () => {
      watcher.disconnect();
      clearTimeout(timer);
      if (url) URL.revokeObjectURL(url);
    };
  },
};
