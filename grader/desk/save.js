// A button that asks the kernel for a file and hands it to the browser; nothing is made before it is asked for.

export default {
  render({ model, el }) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "jupyter-button tm-save";
    const said = document.createElement("span");
    said.setAttribute("role", "status");
    const label = () => {
      button.textContent = model.get("label");
    };
    label();
    model.on("change:label", label);
    button.addEventListener("click", () => {
      said.textContent = " Getting it ready …";
      model.send({ ask: true });
    });
    model.on("msg:custom", (told, buffers) => {
      if (told.problem) {
        said.textContent = ` ${told.problem}`;
        return;
      }
      const address = URL.createObjectURL(new Blob([buffers[0]], { type: "application/octet-stream" }));
      const link = document.createElement("a");
      link.href = address;
      link.download = told.name;
      link.click();
      setTimeout(() => URL.revokeObjectURL(address), 60000);
      said.textContent = ` Saved as ${told.name} where your browser keeps downloads.`;
    });
    el.append(button, said);
  },
};
