"""Text files of a microphone's response: what is read of each kind, and the one sentence for each that is none."""

import os

import numpy as np
import pytest

from distort.errors import SessionError
from distort.session.calibration.response_file import read_response_file

ROWS = [(20.0, -0.5), (1000.0, 0.0), (12500.5, 1.25)]


@pytest.mark.parametrize(
    "text",
    [
        "20,-0.5\n1000,0\n12500.5,1.25\n",
        "20, -0.5\n1000, 0\n12500.5, 1.25\n",
        "20;-0.5\r\n1000;0\r\n12500.5;1.25\r\n",
        "20; -0,5\n1000; 0,0\n12500,5; 1,25\n",
        "20\t-0.5\n1000\t0\n12500.5\t1.25",
        "20\t-0,5\n1000\t0\n12500,5\t1,25",
        "  20   -0.5\n1000 0.0\n 12500.5 \t 1.25\n",
        "20 -0,5\n1000 0\n12500,5 1,25\n",
        '# made by hand\n* in a chamber\n; at 23 degrees\n"Sensitivity -38 dB"\n\n20 -.5\n1e3 +0\n1.25005E4 1.25\n',
        "Frequency (Hz);Level (dB)\n20;-0.5;\n1000;0;\n12500.5;1.25;\n",
        "\ufefffrequency_hz,level_db\n20,-0.5\n1000,0\n12500.5,1.25\n",
        "20 -0.5\r1000 0\r12500.5 1.25\r",
    ],
)
def test_every_kind_of_file_says_the_same(tmp_path, text) -> None:
    path = tmp_path / "microphone.txt"
    path.write_bytes(text.encode())
    found = read_response_file(path)
    assert list(zip(found.frequency_hz, found.level_db, strict=True)) == ROWS
    assert found.phase_deg is None


@pytest.mark.parametrize(
    "text",
    ["20 -0.5 170\n100 0 -170\n", "20,-0.5,170\n100,0.0,-170\n", "Hz\tdB\tDegrees\n20\t-0,5\t170\n100\t0\t-170\n"],
)
def test_a_third_number_is_the_phase(tmp_path, text) -> None:
    path = tmp_path / "microphone.txt"
    path.write_text(text, encoding="utf-8")
    found = read_response_file(path)
    assert found.phase_deg is not None
    assert list(found.phase_deg) == [170.0, -170.0]
    assert list(found.level_db) == [-0.5, 0.0]


def test_old_and_wide_encodings_are_read(tmp_path) -> None:
    path = tmp_path / "microphone.txt"
    for encoding in ("latin-1", "utf-16", "utf-8"):
        path.write_bytes("# at 0° incidence\n20 1\n40 2\n".encode(encoding))
        np.testing.assert_array_equal(read_response_file(path).frequency_hz, [20.0, 40.0])


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("20 1\n40 2\n30 3\n", 3, "30 Hz does not lie above 40 Hz in the row before: frequencies must ascend"),
        ("20 1\n20 2\n", 2, "20 Hz does not lie above 20 Hz"),
        ("1000 1\n500 2\n", 2, "frequencies must ascend"),
        ("20 nan\n40 2\n", 1, "'nan' is not a finite number"),
        ("20 1\n40 -inf\n", 2, "'-inf' is not a finite number"),
        ("20 1\n40 1e999\n", 2, "'1e999' is not a finite number"),
        ("20 1\n", 1, "at least two rows of frequency and dB, here are 1"),
        ("# nothing\n", None, "at least two rows of frequency and dB, here are 0"),
        ("", None, "here are 0"),
        ("20 1\n40 two\n", 2, "'two' is not a number"),
        ("20 1\n40 1_0\n", 2, "'1_0' is not a number"),
        ("Hz dB\nand more\n20 1\n40 2\n", 2, "'and' is not a number"),
        ("20\n40\n", 1, "frequency, dB and perhaps phase are needed, here are 1 cells"),
        ("20 1 2 3\n40 1 2 3\n", 1, "here are 4 cells"),
        ("20 1\n40 2 90\n", 2, "3 numbers, where line 1 has 2"),
        ("20 1\n40;2\n", 2, "parted by semicolons, in line 1 by blanks"),
        ("20;;1\n40;;2\n", 1, "'' is not a number"),
        ("20,5,0\n40,0,1\n", 1, "these commas may be decimal commas or part the numbers"),
        ("20,5, 0,3\n40,0, 1,2\n", 1, "commas stand both inside numbers and between them"),
        ("1.000,5;2\n2000;1\n", 1, "'1.000,5' is not a number"),
        ("0 1\n40 2\n", 1, "0 Hz is no frequency"),
        ("-20 1\n40 2\n", 1, "-20 Hz is no frequency"),
        ("20 1\n4e7 2\n", 2, "4e+07 Hz is no frequency"),
        ("20 1\n40 250\n", 2, "250 dB is no level"),
        ("20 1\n40 2\n80 99\n160 1\n", 3, "99 dB lies 98 dB from the middle"),
        ("20 1 9e9\n40 2 0\n", 1, "9e+09 degrees is no phase"),
        ("RIFF\0\0\0\0WAVE", 1, "this is not a text file"),
    ],
)
def test_what_is_no_response_is_refused_with_file_and_line(tmp_path, text, line, said) -> None:
    path = tmp_path / "microphone.txt"
    path.write_bytes(text.encode())
    with pytest.raises(SessionError) as caught:
        read_response_file(path)
    sentence = str(caught.value)
    assert sentence.startswith(f"{path}: " if line is None else f"{path}, line {line}: ")
    assert said in sentence
    assert "\n" not in sentence


@pytest.mark.sample
def test_a_file_that_is_not_there_or_far_too_large(tmp_path) -> None:
    with pytest.raises(SessionError, match=r"none\.txt is missing: \[microphone\] response_file"):
        read_response_file(tmp_path / "none.txt")
    with pytest.raises(SessionError, match=r"is a folder: \[microphone\] response_file of session\.toml must name"):
        read_response_file(tmp_path)
    with pytest.raises(SessionError, match=r"is a folder: \[analysis\] response_files of session\.toml must name"):
        read_response_file(tmp_path, named_by="[analysis] response_files")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(SessionError, match=r"pipe is no file: \[microphone\] response_file"):
        read_response_file(tmp_path / "pipe")
    path = tmp_path / "large.txt"
    path.write_bytes(b"20 1\n" * 1_000_000)
    with pytest.raises(SessionError, match="larger than 4 MB"):
        read_response_file(path)
    path.write_bytes("".join(f"{20 + n / 10:.1f} 1\n" for n in range(100_001)).encode())
    with pytest.raises(SessionError, match="more than 100,000 rows"):
        read_response_file(path)


def test_a_long_cell_is_shortened_and_a_long_line_is_none(tmp_path) -> None:
    path = tmp_path / "microphone.txt"
    path.write_text(f"20 1\n40 {'x' * 5000}\n", encoding="utf-8")
    with pytest.raises(SessionError, match=r"line 2: 'x{39}\.\.\.x{19}' \(5,000 characters\) is not a number"):
        read_response_file(path)
    path.write_text(f"20 1\n40 {'9' * 5000}\n", encoding="utf-8")
    with pytest.raises(SessionError, match=r"'9{39}\.\.\.9{19}' \(5,000 characters\) is not a finite number"):
        read_response_file(path)
