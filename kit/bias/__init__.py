"""What could mislead us: each warning asks one question of the numbers and answers it with one."""
