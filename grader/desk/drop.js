// A place to drop files on, or to choose them from a list; each goes to the kernel as it is.

const PIECE = 4_000_000; // letters of a message: the page's connection takes no larger ones

export default {
  render({ model, el }) {
    const area = document.createElement("label");
    area.className = "tm-drop-area";
    const field = document.createElement("input");
    field.type = "file";
    field.multiple = model.get("several");
    field.setAttribute("aria-label", model.get("label"));
    const said = document.createElement("span");
    said.setAttribute("role", "status");
    said.textContent = model.get("several") ? "Drop files here, or choose them: " : "Drop the file here, or choose it: ";
    area.append(said, field);
    const send = async (files) => {
      const list = [...files];
      for (const [number, file] of list.entries()) {
        said.textContent = `Fetching ${file.name} …`;
        const content = await file.arrayBuffer().catch(() => null);
        if (content === null) {
          said.textContent = `${file.name} is a folder or cannot be read. Pack it as a zip and drop that. `;
          model.send({ forget: true });
          return;
        }
        for (let at = 0; at === 0 || at < content.byteLength; at += PIECE) {
          const last = at + PIECE >= content.byteLength;
          model.send({ number, name: file.name, last, done: last && number === list.length - 1 }, {}, [content.slice(at, at + PIECE)]);
        }
      }
      field.value = "";
      said.textContent = `${list.length} file${list.length === 1 ? "" : "s"} fetched. Drop more, or choose: `;
    };
    field.addEventListener("change", () => field.files.length && send(field.files));
    for (const kind of ["dragover", "dragenter"]) {
      area.addEventListener(kind, (event) => {
        event.preventDefault();
        event.stopPropagation();
        area.classList.add("tm-over");
      });
    }
    area.addEventListener("dragleave", () => area.classList.remove("tm-over"));
    area.addEventListener("drop", (event) => {
      event.preventDefault();
      event.stopPropagation();
      area.classList.remove("tm-over");
      if (event.dataTransfer?.files.length) {
        send(event.dataTransfer.files);
      }
    });
    el.append(area);
  },
};
