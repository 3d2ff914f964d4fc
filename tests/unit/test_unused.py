"""What no module of the firmware uses is not installed."""

from rimward.device.install import plan, unused


def test_functions_that_nothing_uses_are_left_out():
    texts = {
        "a": "from b import wanted\n\ndef idle():\n    return helper()\n\ndef helper():\n    return 1\n\ndef kept():\n    return wanted()\n",
        "b": "def wanted():\n    return 2\n\ndef by_main():\n    return 3\n\ndef at_rest():\n    return 4\nx = at_rest\n",
    }
    made = unused.dropped(texts, ["import a, b\nb.by_main()\na.kept()\n"])
    assert "idle" not in made["a"] and "helper" not in made["a"]  # its only user is left out too
    assert "def kept" in made["a"]
    assert all(f"def {name}" in made["b"] for name in ("wanted", "by_main", "at_rest"))


def test_an_install_has_no_function_that_nothing_uses():
    texts = plan.texts()
    dropped = {
        name: text
        for name, text in unused.dropped(texts, ()).items()
        if "kernels" not in name and text.count("def ") != texts[name].count("def ")
    }
    assert not dropped
