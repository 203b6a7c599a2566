"""What the kernel knows of the card, from folders shaped as the kernel shows them."""
import os
from pathlib import Path

import pytest

from monitor.store import card

#: Lines as the kernel writes them: block layer, mmc driver, ext4 (their sources, Linux 6.x), and some that are no complaint.
BAD = ("[  812.004] mmc0: error -110 whilst initialising SD card", "[ 93.1] mmcblk0: error -84 transferring data, sector 123, nr 8",
       "[12.2] blk_update_request: I/O error, dev mmcblk0, sector 40960 op 0x1:(WRITE) flags 0x800",
       "[12.3] Buffer I/O error on dev mmcblk0p2, logical block 1, lost async page write",
       "[14.0] EXT4-fs error (device mmcblk0p2): ext4_find_entry:1455: inode #2: comm python: reading directory lblock 0",
       "[14.1] EXT4-fs (mmcblk0p2): Remounting filesystem read-only", "[9.0] sd 0:0:0:0: [sda] tag#0 critical medium error")
GOOD = ("[1.0] mmc0: new high speed SDHC card at address aaaa", "[2.0] EXT4-fs (mmcblk0p2): mounted filesystem with ordered data mode",
        "[3.0] usb 1-1: device descriptor read/64, error -71")


@pytest.mark.parametrize("line", BAD)
def test_a_complaint_of_storage_is_seen(line: str) -> None:
    assert card.COMPLAINTS.search(line)


@pytest.mark.parametrize("line", GOOD)
def test_other_lines_are_no_complaint(line: str) -> None:
    assert not card.COMPLAINTS.search(line)


def test_errors_and_wear_are_read_where_the_kernel_shows_them(tmp_path: Path) -> None:
    number = os.stat(tmp_path).st_dev
    disk = tmp_path / "sys/devices/platform/mmc0/block/mmcblk0"
    (disk / "mmcblk0p2").mkdir(parents=True)
    (disk / "device").mkdir()
    (disk / "device/life_time").write_text("0x03 0x0a\n")
    place = tmp_path / f"sys/dev/block/{os.major(number)}:{os.minor(number)}"
    place.parent.mkdir(parents=True)
    place.symlink_to(disk / "mmcblk0p2")
    counted = tmp_path / "sys/fs/ext4/mmcblk0p2/errors_count"
    counted.parent.mkdir(parents=True)
    counted.write_text("7\n")
    assert card.inspect_card(tmp_path, tmp_path) == card.Card("mmcblk0p2", False, 7, 10)


def test_what_the_kernel_does_not_show_is_not_known(tmp_path: Path) -> None:
    assert card.inspect_card(tmp_path, tmp_path) == card.Card("", False, None, None)
    assert card.find_complaints() is None or isinstance(card.find_complaints(), list)


@pytest.mark.skipif(os.geteuid() != 0, reason="needs to mount")
def test_a_read_only_file_system_is_noticed(tmp_path: Path) -> None:
    import subprocess

    if subprocess.run(["mount", "-t", "tmpfs", "-o", "ro,size=1m", "tmpfs", tmp_path], capture_output=True).returncode:
        pytest.skip("may not mount here")
    try:
        assert card.inspect_card(tmp_path).read_only
    finally:
        subprocess.run(["umount", tmp_path], check=True)
