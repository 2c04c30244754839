// A text that can be read, changed and copied into a message.

export default {
  render({ model, el }) {
    const box = document.createElement("div");
    box.className = "tm-copy";
    const text = document.createElement("textarea");
    text.rows = 4;
    text.value = model.get("text");
    text.setAttribute("aria-label", model.get("label"));
    const button = document.createElement("button");
    button.type = "button";
    button.className = "jupyter-button";
    button.textContent = "Copy this text";
    button.setAttribute("aria-label", `Copy: ${model.get("label")}`);
    const said = document.createElement("span");
    said.setAttribute("role", "status");
    button.addEventListener("click", async () => {
      text.select();
      const copied = await (navigator.clipboard?.writeText(text.value).then(() => true, () => false) ?? false);
      said.textContent = copied || document.execCommand("copy") ? " Copied; paste it into your message." : " Press Ctrl and C to copy what is marked.";
    });
    box.append(text, button, said);
    el.append(box);
  },
};
