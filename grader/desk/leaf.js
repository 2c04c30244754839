// A page of ours, shown inside the desk and closed off from it: it may run nothing and reach nothing.

export default {
  render({ model, el }) {
    const frame = document.createElement("iframe");
    frame.setAttribute("sandbox", "");
    frame.className = "tm-leaf";
    const fill = () => {
      frame.title = model.get("title");
      frame.srcdoc = model.get("page");
    };
    fill();
    model.on("change:page", fill);
    el.append(frame);
  },
};
